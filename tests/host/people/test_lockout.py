from hypothesis import given
from hypothesis import strategies as st

from host.people.lockout import FOR_A_NAME, FOR_AN_ADDRESS, Patience, wait_s, wait_words

NOW_S = 1_750_000_000.0
TIMES = st.lists(st.floats(min_value=0.0, max_value=7200.0).map(lambda ago: NOW_S - ago), max_size=40)


def test_the_first_mistakes_cost_nothing():
    assert wait_s([NOW_S] * FOR_A_NAME.free, NOW_S, FOR_A_NAME) == 0.0


def test_each_further_mistake_doubles_the_wait_up_to_a_quarter_of_an_hour():
    waits = [wait_s([NOW_S] * (FOR_A_NAME.free + more), NOW_S, FOR_A_NAME) for more in range(1, 9)]
    assert waits == [30.0, 60.0, 120.0, 240.0, 480.0, 900.0, 900.0, 900.0]


def test_the_wait_runs_from_the_last_mistake():
    failures = [NOW_S] * (FOR_A_NAME.free + 1)
    assert wait_s(failures, NOW_S + 29.0, FOR_A_NAME) == 1.0
    assert wait_s(failures, NOW_S + 30.0, FOR_A_NAME) == 0.0


def test_mistakes_of_the_day_before_are_forgotten():
    failures = [NOW_S - FOR_A_NAME.forgets_s] * 30
    assert wait_s(failures, NOW_S, FOR_A_NAME) == 0.0


def test_a_classroom_behind_one_address_may_mistype_more():
    failures = [NOW_S] * 10
    assert wait_s(failures, NOW_S, FOR_AN_ADDRESS) == 0.0 < wait_s(failures, NOW_S, FOR_A_NAME)


def test_a_clock_that_was_set_back_binds_nobody():
    assert wait_s([NOW_S + 86_400.0] * 20, NOW_S, FOR_A_NAME) == 0.0


@given(failures=TIMES, patience=st.sampled_from([FOR_A_NAME, FOR_AN_ADDRESS, Patience(free=0)]))
def test_no_wait_is_endless_and_one_more_mistake_never_shortens_it(failures, patience):
    wait = wait_s(failures, NOW_S, patience)
    assert 0.0 <= wait <= patience.longest_wait_s
    assert wait_s([*failures, NOW_S], NOW_S, patience) >= wait


@given(failures=TIMES)
def test_the_order_in_which_mistakes_are_kept_means_nothing(failures):
    assert wait_s(failures, NOW_S, FOR_A_NAME) == wait_s(failures[::-1], NOW_S, FOR_A_NAME)


def test_a_guesser_gets_little_more_than_a_hundred_tries_at_a_name_in_a_day():
    failures: list[float] = []
    now_s, tries = NOW_S, 0
    while now_s < NOW_S + 86_400.0:
        now_s += wait_s(failures, now_s, FOR_A_NAME)
        failures.append(now_s)
        tries += 1
    assert tries < 110


def test_the_wait_is_said_in_seconds_and_then_in_minutes():
    assert wait_words(0.2) == "Try again in 1 s."
    assert wait_words(30.0) == "Try again in 30 s."
    assert wait_words(480.0) == "Try again in 8 min."
    assert wait_words(481.0) == "Try again in 9 min."
