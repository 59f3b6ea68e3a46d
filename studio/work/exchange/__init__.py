"""Tables that go in and out as files: materials, lots, recipes and what else apps register.

**A table** is registered by its app in `ready()`, with its columns, what it exports and what is
done with a row that comes in; see `studio.work.exchange.registry`.

**An import** is a row (`ImportRun`) that workers carry on: `checking`, then `checked` where it was
a dry run, then `importing`, and it ends `done` or `refused`. Checking does the real work of each
row and takes it back, a hundred at a time, so a fault that only a service or the database knows is
found too, and others write in between. Importing does all rows in one transaction. A worker that
is killed leaves nothing half done: the run's lease ends and the schedule wakes another.

What pages and endpoints call:

    registry.tables_for(user) -> tuple[ExchangeTable, ...]     what this account may take out
    registry.table_named(name) -> ExchangeTable                raises NotFound
    files.template_file(name, form="csv"|"xlsx", delimiter="comma"|"semicolon", by=user)
    files.export_file(name, form=..., delimiter=..., by=user)  -> SavedFile(name, form, parts)
    files.faults_file(run, delimiter=...)                      -> SavedFile, one line a fault
    starting.start_import(name, content, mode="create"|"change", dry_run=True, file_name="",
                          by=user, now=...)                    -> ImportRun, in state checking
    starting.go_on(pk, by=user, now=...)                       import what was checked and is clean
    starting.discard(pk, by=user, now=...)                     give it up; nothing was changed
    starting.run_of(pk, by=user), starting.runs_of(user)       without the file itself

Of a run: `state`, `rows_checked` of `rows_total`, `created`, `changed`, `unchanged`,
`faults_total`, and `faults` as objects of row, column, code and message. Row numbers are those a
spreadsheet shows; 0 stands for the file as a whole.
"""
