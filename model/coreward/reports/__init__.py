"""Reports: any answer as text, one HTML page, a PDF, CSV files, or all of them in a ZIP.

``coreward.report(answer, "supper.html")`` writes one, ``coreward.document(answer)`` says what
it holds. A new kind of answer registers a function in the ``document.py`` of its room::

    from coreward.reports.things import document_of

    @document_of.register
    def document(answer: Plan) -> Document:
        return Document("The plan", answer.sentence, (table_of(...),))
"""
