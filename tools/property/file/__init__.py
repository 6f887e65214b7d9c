"""How a property file is read.

In this order: `text` reads the file as TOML, with `key_lines` and `toml_mistakes` to say where a
mistake stands; `rules`, `quantities` and `times` say what one value may be; `table`, `place` and
`schedule` are the tables with all their keys; `mistakes` words what will not do.
"""
