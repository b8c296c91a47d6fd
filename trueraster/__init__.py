"""The command line: it draws and proves patterns, verifies captures, measures sets, and keeps and reports the results.

`cli.py` lists the commands, and `commands` has a module for each. `options` turns what is typed into values, `output`
turns answers into text, JSON and pages. `kit` makes the whole check-up and `disc` an image of it for disc players,
`show` puts patterns on an output, and `bench` makes a session of all of it. `verify` looks at one file or many,
`timing` and `scope` are what those commands need, `record` keeps the results of a set, and `report` makes the sheet
that goes with it.
"""
