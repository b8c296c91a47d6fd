"""The command line: it draws and proves patterns, verifies captures, measures sets, and keeps and reports the results.

`cli.py` lists the commands, `commands` has a module for each area of them. `kit` makes the whole check-up, `record`
keeps the results of a set, `report` makes the sheet that goes with it, and `page` is what all pages share. The modules
beside them turn what is typed into values, and results into words, tables, JSON and files.
"""
