"""Random requests are answered or refused in words, whatever they say."""

import pytest

from engine import RequestError, diagnose
from tests.recorded.random_requests import random_requests
from tests.sweeps import SLOW, WHOLE, swept

REQUESTS = 600 if SLOW else 6 if WHOLE else 2


@pytest.mark.parametrize("seed", swept([777_001, 777_002], 2))
def test_whatever_is_asked_is_answered_or_refused(seed: int) -> None:
    """Nothing but a refusal that names places is raised; an answer ranks its causes by belief."""
    for name, request in random_requests(REQUESTS, seed):
        try:
            answer = diagnose(request)
        except RequestError as refused:
            places = [str(fault) for fault in refused.faults]
        else:
            places = [cause["id"] for cause in answer["causes"]]
            shares = [cause["probability"] for cause in answer["causes"]]
            assert shares == sorted(shares, reverse=True), name
        assert places, name
