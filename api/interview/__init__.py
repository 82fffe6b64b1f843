"""The interview: one question after another, from the complaint to the work order.

Pure: a state and a line come in, a new state and text go out (``Interview.step``). The terminal
(``api.cli.ask``) wraps it, and the desk asks the same ``next_step``.
"""

from api.interview.session import Interview
from api.interview.state import InterviewState
from api.interview.turn import Block, Prompt, Turn

__all__ = ["Block", "Interview", "InterviewState", "Prompt", "Turn"]
