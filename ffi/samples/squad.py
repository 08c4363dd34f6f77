"""A coach's evening with the squad's logs: fetches them, puts every set into a table, and draws a picture of
the kilograms of each week.

    python squad.py FOLDER [LINK]

FOLDER is kept between runs; LINK is the link of an invitation, the first time only. The table goes to
FOLDER/sets.csv, for any notebook: `pandas.read_csv("sets.csv")`. The numbers describe what was done. They do
not say who is fit to train: that is for coach, athlete and licensed care staff to talk about.
"""

import collections
import csv
import datetime
import pathlib
import sys

import backstraight as b

HOME = pathlib.Path(sys.argv[1])
WEEKS = 12


def open_or_enrol(link):
    HOME.mkdir(parents=True, exist_ok=True)
    install = b.open_folder(HOME / "training", b.FileKeys(HOME / "keys.json"))
    if link and install.who() is None:
        install.enrol(b.read_invitation(link), "analysis", b.built_in_courier(), b.now())
    return install


def all_sets(install, first, last):
    """Every set of every athlete, as rows."""
    for person in install.people():
        if person.role != "athlete":
            continue
        after = None
        while True:
            page = install.set_rows(b.SetAsk(first_day=first, last_day=last, athlete=person.person,
                                             after=after, most=1_000))
            for row in page.rows:
                n = row.numbers
                yield {
                    "athlete": person.name, "day": row.day, "exercise": row.name,
                    "load_kg": (n.load_g or 0) / 1000, "reps": n.reps or 0, "contacts": n.contacts or 0,
                    "effort": n.effort_tenths / 10 if n.effort_tenths is not None else "",
                    "fastest_m_s": max(n.speeds_mm_s) / 1000 if n.speeds_mm_s else "",
                }
            after = page.next
            if after is None:
                break


def write_table(rows, file):
    with open(file, "w", newline="") as out:
        table = csv.DictWriter(out, fieldnames=list(rows[0]))
        table.writeheader()
        table.writerows(rows)


def kilograms_by_week(rows):
    weeks = collections.defaultdict(float)
    for row in rows:
        day = datetime.date.fromisoformat(row["day"])
        monday = day - datetime.timedelta(days=day.weekday())
        weeks[row["athlete"], monday.isoformat()] += row["load_kg"] * row["reps"]
    return dict(sorted(weeks.items()))


def draw(weeks, file):
    try:
        from matplotlib import pyplot
    except ImportError:
        print("   (a picture wants matplotlib: pip install matplotlib)")
        return
    for athlete in sorted({athlete for athlete, _ in weeks}):
        points = [(monday, kg) for (who, monday), kg in weeks.items() if who == athlete]
        pyplot.plot([p[0] for p in points], [p[1] for p in points], marker="o", label=athlete)
    pyplot.ylabel("kg lifted in a week")
    pyplot.legend()
    pyplot.savefig(file)


def main():
    install = open_or_enrol(sys.argv[2] if len(sys.argv) > 2 else None)
    try:
        print(f"exchanged: {b.exchange(install).received} changes came")
    except b.DoorError.Offline:
        print("no server: going on with what is here")
    today = datetime.date.today()
    first = today - datetime.timedelta(weeks=WEEKS)
    rows = list(all_sets(install, first.isoformat(), today.isoformat()))
    print(f"{len(rows)} sets since {first}")
    if rows:
        write_table(rows, HOME / "sets.csv")
        weeks = kilograms_by_week(rows)
        for (athlete, monday), kg in weeks.items():
            print(f"   {athlete:<24} week of {monday} {kg:>9.1f} kg")
        draw(weeks, HOME / "weeks.png")
    install.shut()


main()
