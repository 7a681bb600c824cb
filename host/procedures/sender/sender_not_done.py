"""What a sender check has and was left out, for its certificate."""

from host.procedures.sender.sender_check_state import SenderCheckState
from host.procedures.sender.trials import TRIAL_WORDS, Trial


def not_done(state: SenderCheckState) -> tuple[str, ...]:
    """What was not done, each in a sentence; assumed spans stand in the budget for it."""
    asked, left_out = state.started.trials, state.trials_left_out
    sentences = [
        f"Not tried: {', '.join(TRIAL_WORDS[trial] for trial in Trial if trial not in asked)}; what they "
        "would have told is in the budget as an assumed span."
    ]
    if all(trial in asked for trial in Trial):
        sentences = []
    sentences += [f"Left out: {TRIAL_WORDS[Trial(trial)]}, {why}." for trial, why in left_out.items()]
    if state.burst is None:
        sentences.append("The connector was not moved, so an intermittent contact would not have shown.")
    return tuple(sentences)
