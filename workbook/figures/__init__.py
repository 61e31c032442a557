"""Pictures, one file for each lesson, drawn with matplotlib's objects and never with pyplot.

Every figure file has the same four functions, and a panel asks for nothing else:

`create(figure, look)`
    lays out an empty `Figure` once and returns the artists that move (a NamedTuple);
`update(artists, result, ghost)`
    changes them in place. `ghost` is the learner's locked prediction, or None. Limits may change, the panel
    sees it; where anything else outside the axes changes (ticks, labels), return True for a full redraw;
`describe(result)`
    one sentence that says what the picture shows, for a reader who cannot see it;
`table(result)`
    the same numbers as rows of text, the header first.

`look` holds the two looks that every figure wears.
"""
