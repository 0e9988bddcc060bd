"""What to do: which families to call, in what order and why."""

from analysis.decisions.calls import CallList, call_list

__all__ = ["CallList", "call_list"]
