import logging

from host.desk_log import logging_into

log = logging.getLogger("host.somewhere")


def test_trouble_in_the_log_says_what_to_do(tmp_path):
    with logging_into(tmp_path) as path:
        log.info("run 0001: settled")
        logging.getLogger("some_library").info("all is well")
        log.warning("the broker is gone")
        log.warning("switch the rig on", extra={"says_what_to_do": True})
        try:
            raise RuntimeError("broken on purpose")
        except RuntimeError:
            log.exception("a fault")
    lines = path.read_text("utf-8").splitlines()
    assert lines[0].endswith("INFO host.somewhere: run 0001: settled")
    assert "ohmbath export support" in lines[1]
    assert lines[2].endswith("switch the rig on")
    assert "ohmbath export support" in lines[3]
    assert "RuntimeError: broken on purpose" in lines[-1]


def test_the_log_does_not_grow_without_end(tmp_path):
    with logging_into(tmp_path):
        for _ in range(7_000):
            log.info("x" * 1000)
    files = sorted(path.name for path in tmp_path.iterdir())
    assert files == ["desk.log", "desk.log.1", "desk.log.2", "desk.log.3"]
    assert sum(path.stat().st_size for path in tmp_path.iterdir()) < 4_100_000
