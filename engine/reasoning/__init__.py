"""From a request to a belief and a plan: observations, effects of rules, belief, next checks.

This room reads predictions and rules; it writes no sentence of the answer.
"""
