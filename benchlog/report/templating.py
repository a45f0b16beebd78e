"""HTML from the templates beside the code; whatever they are given is escaped."""

import functools
from typing import TYPE_CHECKING, Any

from benchlog.core.folding import held_together

if TYPE_CHECKING:
    from jinja2 import Environment

_OWN = "benchlog.report"


def filled_in(template: str, package: str = _OWN, **given: Any) -> str:
    """A template with what it is given.

    Args:
        template: file name in the folder ``templates`` of ``package``, or of the report.
        package: whose templates are looked at first.
        given: what the template's names stand for; a name that is missing is an error.
    """
    return _environment(package).get_template(template).render(**given)


@functools.cache
def _environment(package: str) -> "Environment":
    from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined

    packages = dict.fromkeys((package, _OWN))
    made = Environment(
        loader=ChoiceLoader([PackageLoader(name) for name in packages]),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters["held"] = held_together
    made.filters["dashed"] = lambda words: words.replace(" ", "-")
    made.policies["json.dumps_kwargs"] = {"separators": (",", ":")}
    return made
