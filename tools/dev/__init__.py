"""What developers run: nothing else imports it, but for `compiled`.

`bench` measures a hub's steps and whole years, on the houses of `bench_houses`. `validation` writes
sim/VALIDATION.md, from figures that are published and from years of weather, with the reference
models of the folder `models`; `ponding` draws its picture. `compiling` makes the compiled core,
which `compiled` finds at every start. `graph` draws which folder imports which.
"""
