"""``/v1/rules``: the if-then knowledge, in its six families."""

from flask import Blueprint, Response

from api.service import current
from api.web import listing
from api.web.operations import item_operation, list_operation
from engine.knowledge import items

blueprint = Blueprint("rules", __name__)

FILTERS = {"family": items.FAMILIES}

OPERATIONS = {
    ("/v1/rules", "get"): list_operation(
        "rules", "Rule", FILTERS, "The if-then knowledge, in its six families."
    ),
    ("/v1/rules/{id}", "get"): item_operation("rules", "Rule"),
}


@blueprint.get("/v1/rules")
def list_rules() -> Response:
    """List the rules, of one family when the query names it."""
    return listing.list_items("rules", current().knowledge.rules, FILTERS, _matches)


@blueprint.get("/v1/rules/<id_>")
def get_rule(id_: str) -> Response:
    """Return one rule."""
    return listing.one_item("rule", current().knowledge.rules, id_)


def _matches(rule: items.Rule, query: dict[str, str]) -> bool:
    return query.get("family", rule.family) == rule.family
