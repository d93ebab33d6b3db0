"""Reports: any answer as one HTML page, a PDF, CSV files, or all of them in a ZIP.

``coreward.report(thing, "supper.html")`` writes one. `document_of` says what a report of
a kind of thing holds; a new kind is added by registering a function with it::

    from coreward.reports.things import document_of

    @document_of.register
    def _(thing: Plan, *, units="C", title="", code="") -> Document:
        return Document(title or "The plan", thing.sentence, (table_of(...),))

and naming its module in ``coreward.reports.things.MODULES``.
"""
