"""What every page to print shares: one way to fill a template, with everything escaped and nothing from outside."""

from importlib import resources
from typing import Any


def rendered(template: str, **values: Any) -> str:
    """A template of this folder, filled. Templates may include others of the folder, such as ``paper.css``."""
    import jinja2

    folder = resources.files(__package__)
    made = jinja2.Environment(
        loader=jinja2.FunctionLoader(lambda name: folder.joinpath(name).read_text(encoding="utf-8")),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return made.get_template(template).render(**values)
