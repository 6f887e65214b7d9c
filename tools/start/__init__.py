"""The beginning: questions that make a property file, and a record of weather for its place.

`questions` lists what is asked, `answers` reads an answer, `guide` asks, `written` writes the file;
`weather` fetches the record.
"""
