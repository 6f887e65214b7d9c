"""What developers run: nothing else imports it, but for `compiled`.

`bench` measures a hub's steps, whole years and a sweep. `validation` writes sim/VALIDATION.md, from
figures that are published and from years of weather, with the reference models of the folder
`models`. `compiling` makes the compiled core, which `compiled` finds at every start. `graph` draws
which folder imports which.
"""
