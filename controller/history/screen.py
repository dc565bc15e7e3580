"""The history of a run on the screen, in plain words."""

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from controller.alarms.metrics import CHATTER_WINDOW_MS, CHATTERS, FLEETING_MS, FLOOD_ABOVE, FLOOD_ENDS_BELOW
from controller.events import EVENTS
from controller.history.figures import ACCEPTABLE, MANAGEABLE, History, Period, date, rate_words
from controller.sheets.whole_table import print_whole


def show(history: History, console: Console) -> None:
    """What there is to say."""
    _show_run(history, console)
    alarms = history.alarms
    console.print(
        f"Alarms: {_counted(alarms.calls, 'call')}, {alarms.per_10_min:.2f} in 10 min: "
        f"{rate_words(alarms.per_10_min)} (about {ACCEPTABLE:g} acceptable, {MANAGEABLE:g} manageable); "
        f"at most {alarms.most_in_10_min} in 10 min."
    )
    _show_storms(history, console)
    if alarms.calls:
        said = ", ".join(f"{count} {name}" for name, count in history.by_priority)
        console.print(f"By priority: {said}.")
        console.print(
            f"Of each 10 minutes in turn: {', '.join(_period(period) for period in history.periods)}."
        )
    _show_floods(history, console)
    within = f"{CHATTERS} calls within {CHATTER_WINDOW_MS // 1_000} s"
    console.print(f"Chattering ({within}): {_listed(alarms.chattering)}.")
    console.print(
        f"Over within {FLEETING_MS // 1_000} s, before anybody acts (gone, or looked at no longer): "
        f"{_listed(alarms.fleeting)}."
    )
    console.print(f"Standing for more than a day: {', '.join(alarms.standing) or 'none'}.")
    _show_top(history, console)


def _show_run(history: History, console: Console) -> None:
    about = history.about
    station = about.get("station", "of unknown station")
    plant = {True: ", simulated", False: ", I/O over a wire"}.get(about.get("simulated"), "")  # type: ignore[arg-type]
    console.print(
        f"{history.run}: {station}{plant}; {_time(history.begin_utc)} to {_time(history.end_utc)} UTC, "
        f"{history.alarms.ms / 3_600_000:.2f} h in {_counted(history.starts, 'start')} of the controller; "
        f"{_counted(history.events, 'event')}, {_counted(history.cycles, 'cycle')}."
    )
    if history.removed_untold:
        console.print(f"[bold]{_counted(history.removed_untold, 'line')}[/bold] went before they were told.")


def _show_storms(history: History, console: Console) -> None:
    """What was raised oftener than it called, as the events have it, and why."""
    often = [
        f"{name} raised {_counted(times, 'time')} in {_counted(calls, 'call')}"
        for name, times, calls in history.raised
        if times > calls
    ]
    if often:
        console.print(
            f"{'; '.join(often)}: what comes back within its off-delay is the same call, and what follows "
            "another alarm is none."
        )


def _show_floods(history: History, console: Console) -> None:
    alarms = history.alarms
    rule = f"over {FLOOD_ABOVE} calls in 10 min, until under {FLOOD_ENDS_BELOW}"
    if not alarms.floods:
        console.print(f"Floods ({rule}): none.")
        return
    console.print(f"Floods ({rule}), {alarms.in_flood_percent:.1f} % of the time:")
    table = _table("from, UTC", "to, UTC", "calls")
    for flood in alarms.floods:
        end = "still going on" if flood.end_ms is None else _time(date(flood.end_ms))
        table.add_row(_time(date(flood.begin_ms)), end, str(flood.calls))
    print_whole(table, console)


def _show_top(history: History, console: Console) -> None:
    if not history.alarms.top:
        return
    console.print("The alarms that call most:")
    table = _table("alarm", "calls", "share", "what it says")
    for name, calls, percent in history.alarms.top:
        table.add_row(name, str(calls), f"{percent:.1f} %", EVENTS[name].text)
    print_whole(table, console)


def _table(*heads: str) -> Table:
    table = Table(box=SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    for head in heads:
        table.add_column(head, justify="right" if head in ("calls", "share") else "left")
    return table


def _listed(counted: tuple[tuple[str, int], ...]) -> str:
    return ", ".join(f"{name} ({_counted(times, 'time')})" for name, times in counted) or "none"


def _period(period: Period) -> str:
    low, high = period.from_calls, period.to_calls
    if high is None:
        return f"{period.counted} with {low} or more"
    words = {0: "none", 2: "1 or 2"}.get(high, f"{low} to {high}")
    return f"{period.counted} with {words}"


def _counted(count: int, what: str) -> str:
    return f"{count:,} {what}" + ("" if count == 1 else "s")


def _time(utc: str) -> str:
    return utc[:19].replace("T", " ")
