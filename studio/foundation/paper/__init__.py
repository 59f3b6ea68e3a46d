"""Paper: PDF pages from typst templates. How to add one:

Put a template beside its app (`<app>/paper/<name>.typ`) that begins with

    #import "/studio/foundation/paper/page.typ": values, sheet, tick
    #show: sheet.with(title: "Batch sheet", code: values.batch)

and render it with `render_pdf(Path(...), {"batch": "B-00012"}, paper="a4")`. What is shown comes
in as `values` (JSON) and is data all the way: text of a person is never read as markup. Write
numbers and units as text in the caller; a template only places them. User text is set upright or
bold, never in italics: the cover of letters holds for those.

`values.studio` is the studio's name; `unprintable` is the sign for letters the fonts lack.
"""
