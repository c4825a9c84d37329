"""
Templates into HTML: one environment for every page, everything escaped unless it is our own drawing.

The browser's build compiles the templates (`compiled`), which a phone would otherwise do at every start.
"""

from __future__ import annotations

from functools import cache
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import ChoiceLoader, Environment, FunctionLoader, ModuleLoader, StrictUndefined

from humclick.web.exchange import Reply

if TYPE_CHECKING:
    from humclick.web.desk import Desk
    from humclick.web.language import Language

#: Folder of compiled templates beside this file; only in the browser.
COMPILED = "compiled"
#: What every template has of its language, besides its texts and its code.
_OF_LANGUAGE = ("say", "plain", "counted", "number", "figures", "percent", "likely", "clock", "day")


def _source(name: str) -> str | None:
    file = resources.files("humclick.web").joinpath("templates", name)
    return file.read_text(encoding="utf-8") if file.is_file() else None


@cache
def _environment() -> Environment:
    compiled = Path(__file__).parent / COMPILED
    loaders = [ModuleLoader(compiled)] if compiled.is_dir() else []
    return Environment(
        loader=ChoiceLoader([*loaders, FunctionLoader(_source)]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )


def compiled() -> dict[str, str]:
    """Every template as Python, by the name of the file in the folder `COMPILED`."""
    sources = {}
    for file in resources.files("humclick.web").joinpath("templates").iterdir():
        source = _environment().compile(file.read_text("utf-8"), file.name, raw=True, defer_init=True)
        sources[ModuleLoader.get_module_filename(file.name)] = source
    return sources


def template(name: str, language: Language, **values: Any) -> str:
    """Fill a file of ``templates`` with the texts (``_``), messages (``say``) and numbers of a language."""
    of_language = {name: getattr(language, name) for name in _OF_LANGUAGE}
    file = _environment().get_template(name)
    return file.render(_=language.text, lang=language.code, **of_language, **values)


def page(name: str, desk: Desk, title: str, **values: Any) -> Reply:
    """A page of a template, with the desk and what the form last said; its title is a text's id."""
    form = {key: desk.request.given(key) for key in desk.request.form}
    html = template(
        name,
        desk.language,
        desk=desk,
        call=desk.call,
        request=desk.request,
        errors=desk.errors,
        form=form,
        **values,
    )
    return Reply(title=desk.language.text(title), html=html, id=desk.id)
