"""How is what was recorded of a family meanwhile put into words?"""

from __future__ import annotations

from dashboard.call_actions.views import Acts


def recorded_meanwhile(acts: Acts) -> str:
    """What was recorded of the open family while something is typed in its form."""
    if not acts.calls:
        return "Something else was recorded of this family meanwhile. Reload the page to see it."
    call = acts.calls[0]
    outcome = "reached the family" if call.reached else "no answer"
    return (
        f"{call.made_by} recorded a call to this family at {call.made_at:%H:%M}: {outcome}. "
        "What you entered is not recorded yet."
    )
