"""Tables of rows as files that people keep in spreadsheets: CSV and XLSX, in and out.

Pure: it knows no database and no clock. A `Layout` is the columns of a table, each with the kind
of its values; `read_file` and `read_rows` turn a file into rows and faults, `written_row` and
`write_csv`/`write_xlsx` turn rows into a file whose cells no spreadsheet takes for formulas.
"""
