"""Pages of help; they need no signing in and say nothing of the shop."""

from flask import Blueprint, abort, render_template

from host.web.help_texts import TOPICS
from host.web.rules import open_to_anyone

help_pages = Blueprint("help", __name__)


@help_pages.get("/help")
@open_to_anyone
def index() -> str:
    """Every topic."""
    return render_template("help.html", topics=TOPICS)


@help_pages.get("/help/<topic>")
@open_to_anyone
def topic(topic: str) -> str:
    """One topic."""
    if topic not in TOPICS:
        abort(404, description="There is no such help. All of it is at /help.")
    return render_template("help_topic.html", topic=TOPICS[topic], topics=TOPICS)
