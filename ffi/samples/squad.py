"""A coach's evening with the squad's logs: fetches them, puts every set into a table, and draws a picture of
the kilograms of each week.

    python squad.py FOLDER [LINK]

FOLDER is kept between runs; LINK is the link of an invitation, the first time only. The table goes to
FOLDER/sets.csv, for any notebook: `pandas.read_csv("sets.csv")`; the picture to FOLDER/weeks.svg. The numbers describe what was done. They do
not say who is fit to train: that is for coach, athlete and licensed care staff to talk about.
"""

import collections
import csv
import datetime
import html
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
                    # What nobody wrote down stays empty: it is not nothing.
                    "load_kg": scaled(n.load_g, 1000), "reps": n.reps, "contacts": n.contacts,
                    "effort": scaled(n.effort_tenths, 10),
                    "fastest_m_s": scaled(max(n.speeds_mm_s, default=None), 1000),
                }
            after = page.next
            if after is None:
                break


def scaled(number, by):
    return None if number is None else number / by


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
        if row["load_kg"] is not None and row["reps"] is not None:
            weeks[row["athlete"], monday.isoformat()] += row["load_kg"] * row["reps"]
    return dict(sorted(weeks.items()))


def draw(weeks, file):
    """A line for each athlete, as SVG: any browser shows it. With a library for plotting this is three lines."""
    mondays = sorted({monday for _, monday in weeks})
    most = max(weeks.values(), default=0) or 1
    x = {monday: 60 + 640 * n / max(1, len(mondays) - 1) for n, monday in enumerate(mondays)}
    out = ['<svg xmlns="http://www.w3.org/2000/svg" width="900" height="320" font-family="sans-serif" font-size="12">',
           f'<text x="8" y="20">kg lifted in a week, up to {most:.0f}</text>']
    out += [f'<text x="{at:.0f}" y="310">{monday[5:]}</text>' for monday, at in x.items()]
    for n, athlete in enumerate(sorted({athlete for athlete, _ in weeks})):
        line = [(x[m], 280 - 240 * kg / most) for (who, m), kg in weeks.items() if who == athlete]
        # Told apart by how it is dashed, also on paper.
        out.append(f'<polyline fill="none" stroke="black" stroke-dasharray="{4 * n} {2 * n}" points="'
                   + " ".join(f"{at:.0f},{kg:.0f}" for at, kg in line) + '"/>')
        out += [f'<circle cx="{at:.0f}" cy="{kg:.0f}" r="3"/>' for at, kg in line]
        out.append(f'<text x="{line[-1][0] + 8:.0f}" y="{line[-1][1]:.0f}">{html.escape(athlete)}</text>')
    file.write_text("\n".join([*out, "</svg>"]) + "\n", encoding="utf-8")


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
        draw(weeks, HOME / "weeks.svg")
    install.shut()


main()
