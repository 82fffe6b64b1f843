"""How others reach the engine: an HTTP service and a command line, both thin."""

import os
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from flask import Flask

# The engine's matrices are small: threads inside one product cost far more than they save, and on
# a busy machine they spin against each other. NumPy reads this once, when it is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__all__ = ["create_app"]


def create_app(config: Mapping[str, Any] | None = None) -> "Flask":
    """Return the WSGI application.

    ``config`` may hold ``OVERLAYS`` (folders of a shop's own knowledge, laid over the shipped one),
    or a ready ``KNOWLEDGE`` and ``DIAGNOSER``; ``SETTINGS`` and ``DATABASE`` as api.service.install
    has them, ``RATE_LIMITER`` as api.access.authorization. Raises engine.KnowledgeError with every
    fault when the knowledge base cannot be used: a service that cannot answer does not start.
    """
    # Imported here: a command that needs none of it starts without.
    from flask import Flask
    from jinja2 import StrictUndefined

    from api import desk, service
    from api.answers import problems
    from api.answers.answering import MAX_BYTES
    from api.cases.learning import LearningDiagnoser
    from api.web import BLUEPRINTS, hooks

    app = Flask(__name__, static_folder=None)
    app.jinja_options = {"undefined": StrictUndefined, "trim_blocks": True, "lstrip_blocks": True}
    app.url_map.merge_slashes = False  # a redirect answers with HTML; a wrong path is a 404
    # One byte over the limit is read: a body of unknown length is cut off there without a word,
    # and must not pass for a whole one.
    app.config.from_mapping(MAX_CONTENT_LENGTH=MAX_BYTES + 1)
    app.config.from_mapping(config or {})
    installed = service.install(app, LearningDiagnoser)
    problems.register(app)
    hooks.register(app, installed)
    for blueprint in (*BLUEPRINTS, desk.blueprint):
        app.register_blueprint(blueprint)
    return app
