"""The notebook of a whole chip: what was tried in each slot, what it showed, and what to try next.

A notebook is one SQLite file with a rollback journal and full synchronising, so that it can be copied, lie in a shared
folder, and loses nothing that was said to be written. A try is never changed: what is judged anew is a try of its own
that names the first. Each has an id that occurs once in the world (RFC 9562), so that joining twice adds nothing. It is
the only kind of file of Forelight's that holds names and dates; reports hold them where that is asked for.

Whatever stands in a notebook may have come from a stranger: a file whose tables are not exactly ours is refused, each
value is checked as it is read, and words leave through the one door that all words leave through.
"""
