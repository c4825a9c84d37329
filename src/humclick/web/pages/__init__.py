"""
The pages: a small module each, from a desk to a reply; nothing here decides anything.

What the pages ask of the script (``static/app.js``), by attributes alone; without it every page works by
plain forms and links:

``data-swap``
    On a link or a form: ask the engine and put the answer's ``html`` into ``<main>`` and its ``header`` into
    ``<header>`` instead of loading a page. It is the default for all inside ``<main>`` and ``<header>``;
    ``data-swap="no"`` asks for a plain load.
``data-keypad="7" data-for="value"``
    On a button of a form: put its text behind what stands in the field of that id, without sending the form.
    ``⌫`` takes the last letter away, ``OL`` replaces all, and a digit after ``OL`` replaces it.
``data-timer="<ISO time>"``
    On an element: count down to that time in its text, ``m:ss``; when it is over the class ``over`` is set,
    the text of ``data-over`` is shown and the phone may sound. The end is absolute, so a locked screen loses
    nothing.
``data-prepare``
    On a form: while it stands and nobody asks for anything, ask the engine what it would answer to each of
    its buttons that carry a value (to the form as it stands where none does, unless it has a keypad), and to
    its field as typed. On a link: the page it leads to. Nothing is kept; the answer is quick then.
``data-camera``
    On a file field for photos: scale each picture, drop where it was taken, keep it by its hash, then send
    the form once for each with ``sha256``, ``caption``, ``width`` and ``height`` in place of the file.
``data-mark="<id of a form>"``
    On a picture: a tap puts its place, in per cent, into the fields ``x`` and ``y`` of that form.
``data-record``
    On a button: record sound; the result goes into the file field of the same form.
``data-share``, ``data-print``
    On a button: share the text of the page, or copy it where nothing can be shared; print it.
``data-filter="id"``
    On a search field: hide the list entries in the element of that id that do not hold what is typed.
"""
