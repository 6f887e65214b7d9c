"""Two files of one house as before and after: `changed` compares the files, `judged` what came of
each on the same weather and grounds, and `page` tells it.
"""
