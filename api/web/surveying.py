"""One survey of what checks tell apart, shared by every request of an application."""

from api.service import Service
from engine import Diagnoser
from engine.audit import Survey


def survey_of(service: Service) -> Survey:
    """Return the service's survey; its tables are worked out as they are asked for, and kept."""
    if "survey" not in service.cache:
        engine = service.engine
        diagnoser = engine if isinstance(engine, Diagnoser) else Diagnoser(service.knowledge)
        service.cache["survey"] = Survey(diagnoser)
    survey: Survey = service.cache["survey"]
    return survey
