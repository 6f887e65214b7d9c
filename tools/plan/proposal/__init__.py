"""`evenclay propose`: the seasonal table that a house's strips ask for.

Read `propose` first, which goes from the years to the plan. `draft` is a table under search, and
`year_cut` divides the year into its rows; `written` writes the property file anew, and `page` shows
what was found.
"""
