"""English. The other languages have the same keys with the same names in braces."""

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

WORDS = {
    "page": "Page {number} of {count}",
    "missing": "{sign} stands for a character that this typeface cannot print.",
    "by": "{when} by {who}",
    "count.fault.one": "{n} fault",
    "count.fault.many": "{n} faults",
    "count.month.one": "{n} month",
    "count.month.many": "{n} months",
    "count.step.one": "{n} checklist step",
    "count.step.many": "{n} checklist steps",
    "count.valve.one": "{n} valve",
    "count.valve.many": "{n} valves",
    # The season report
    "report.title": "Season report {season}",
    "report.full_title": "Season report {season}, {site}",
    "report.reference": "Site {site}, season {season}",
    "report.for": "For",
    "report.season": "Season",
    "report.prepared": "Prepared",
    "report.period": "1 January to {until}",
    "report.live": "your sites, live",
    "weather.title": "What the season was like",
    "weather.need": "Water need (ET), {unit}",
    "weather.normal_need": "ET, normal",
    "weather.rain_bars": "Rain, {unit}",
    "weather.et": "Reference ET, {unit}",
    "weather.rain": "Rain, {unit}",
    "weather.this_season": "this season",
    "weather.normal": "normal",
    "weather.a_week": "{depth} a week",
    "weather.station": "Weather station: {name}.",
    "weather.none": "No weather station is set for this site.",
    "weather.about": (
        "Reference ET is the water a reference lawn would have used; rain is what fell at the station. The normal is "
        "the mean of all years on record there."
    ),
    "month": "Month",
    "water.title": "Where the water went, month by month",
    "water.basis": (
        "Run times of the revision that was published on each day: its programs in the month they were made for, its "
        "table of months otherwise; days on which watering was paused count nothing."
    ),
    "water.used": "Used, {unit}",
    "water.last_year": "Last year, {unit}",
    "water.budget": "Budget, {unit}",
    "water.total": "{name}: {parts}.",
    "water.total_used": "used {amount}",
    "water.total_budget": "budget {amount}",
    "water.total_last_year": "last year {amount}",
    "water.season": "Season",
    "zones.title": "Water by zone over the season",
    "zone": "Zone",
    "visits.title": "What we did",
    "visits.none": "No visit is recorded for this season.",
    "visits.date": "Date",
    "visits.visit": "Visit",
    "visits.what": "What was done",
    "visits.technician": "Technician",
    "visits.steps_done": "{steps} done",
    "visits.measured": "{valves} measured",
    "visits.found": "{faults} found",
    "visits.none_found": "no faults found",
    "faults.title": "Faults found and mended",
    "faults.none": "No fault is recorded for this season.",
    "faults.found": "Found",
    "faults.where": "Where",
    "faults.fault": "Fault",
    "faults.outcome": "Outcome",
    "faults.open": "open",
    "faults.mended_on": "mended on {date}",
    "advice.title": "What we recommend",
    "advice.what": "Recommendation",
    "advice.saving": "Would save",
    "advice.cost": "Would cost",
    "advice.mend": "Mend: {fault}, {where}",
    "advice.found": "{severity}; found on {date}.",
    "advice.part": "Part needed: {part}.",
    "advice.backflow": "Backflow assembly test, {assembly}",
    "advice.backflow_due": "Due {date}; by a licensed tester as local rules require.",
    "advice.even": "Repair heads and nozzles so that sprays wet evenly (uniformity 0.70)",
    "advice.mulch": "Mulch beds and the ground under shrubs and trees",
    "advice.drip": "Drip instead of sprays in beds, shrubs and trees",
    "advice.what_if": "This season computed again, watered by need: {after} instead of {before}.",
    "advice.uniformity": "Even out zone {zone}",
    "advice.uniformity_why": (
        "Its measured distribution uniformity is {figure}; below {limit} the dry spots decide how long it runs."
    ),
    "cost.title": "What the water cost",
    "cost.item": "Item",
    "cost.amount": "Amount",
    "cost.total": "Total",
    "cost.fixed": "Fixed charge, tariff {tariff}",
    "cost.water": "Water, {volume}",
    "next.title": "Visits to come",
    "next.by": "by {date}",
    "next.between": "between {first} and {last}",
    "assumed.title": "Appendix: what was assumed",
    "assumed.note": "Defaults used where nothing was measured on your site.",
    "assumed.none": "No default is recorded for this report.",
    "assumed.what": "What",
    "assumed.value": "Assumed value",
    "assumed.source": "Source",
    "assumed.zone": "{what}, zone {zones}",
    "assumed.zones": "{what}, zones {zones}",
    "headline.water": "water by schedule",
    "headline.metered": "read at the meter",
    "headline.allowance": "of the year's water allowance",
    "headline.et": "reference ET",
    "summary.water": "The published schedules gave the site {volume} of water.",
    "summary.more": "That is {percent} % more than over the same days of last year.",
    "summary.less": "That is {percent} % less than over the same days of last year.",
    "summary.faults": "We found {faults} and mended {mended}.",
    "summary.no_faults": "We found no faults.",
    "summary.unknown": "Not counted, because they have no schedule or no known flow: {zones}.",
    # Names of things
    "visit.startup": "startup",
    "visit.mid_season": "mid-season check",
    "visit.winterisation": "winterisation",
    "visit.repair": "repair",
    "fault.coil_open": "open circuit: broken wire, splice or coil",
    "fault.coil_short": "short circuit in wire or coil",
    "fault.high_resistance": "high resistance: corroded splice or wire",
    "fault.low_voltage": "low voltage at the valve",
    "fault.valve_stuck_shut": "valve does not open",
    "fault.valve_stuck_open": "valve does not close",
    "fault.valve_weeps": "valve weeps",
    "fault.pipe_leak": "pipe or fitting leaks",
    "fault.head_broken": "broken or missing head",
    "fault.head_blocked": "blocked or badly aimed head",
    "fault.low_pressure": "low pressure or flow",
    "fault.controller": "controller fault",
    "fault.pump": "pump fault",
    "fault.backflow": "backflow assembly fault",
    "fault.other": "other",
    "severity.unsafe": "unsafe",
    "severity.water_loss": "water loss",
    "severity.plants_at_risk": "plants at risk",
    "severity.cosmetic": "cosmetic",
    "place.zone": "zone {name}",
    "place.valve": "valve {name}",
    "place.site": "site",
    "backflow.reduced_pressure": "reduced pressure assembly",
    "backflow.double_check": "double check assembly",
    "backflow.pressure_vacuum": "pressure vacuum breaker",
    "backflow.atmospheric": "atmospheric vacuum breaker",
    # The repair proposal
    "unit.piece": "pc",
    "unit.hour": "h",
    "unit.metre": "m",
    "unit.foot": "ft",
    "proposal.title": "Repair proposal {number}",
    "proposal.full_title": "Repair proposal {number}, {site}",
    "proposal.reference": "Proposal {number}, site {site}",
    "proposal.for": "For",
    "proposal.date": "Date",
    "proposal.valid_until": "Valid until",
    "proposal.supersedes": "Supersedes",
    "proposal.earlier": "proposal {number}",
    "proposal.faults": "What we found",
    "proposal.fault": "Fault",
    "proposal.where": "Where",
    "proposal.found": "Found",
    "proposal.severity": "How bad",
    "proposal.lines": "What we propose",
    "proposal.what": "Work and parts",
    "proposal.mends": "Mends",
    "proposal.whole": "the work as a whole",
    "proposal.quantity": "Quantity",
    "proposal.price": "Price, {currency}",
    "proposal.amount": "Amount, {currency}",
    "proposal.total": "Total, {currency}",
    "proposal.sum": "Total {total}",
    "proposal.note": "Note",
    "proposal.order": "What accepting means",
    "proposal.order_is": (
        "Accepting this proposal is an order for the work listed above, at the prices listed, {total} in all. It can "
        "be accepted until {until}, once, by the link in our mail or by answering to us."
    ),
    "proposal.order_then": "We then arrange a day for the repair with you. Work not listed is not part of it.",
    "proposal.order_else": "If you decline, nothing is done and the faults stay as they are described.",
    "proposal.draft": "Draft: not sent, not an offer.",
    "proposal.care": "Safety and licensed trades",
    "proposal.care_codes": (
        "Local codes, the water supplier's rules and the makers' instructions come first; they may change what has "
        "to be done, and we tell you before we do it. Mains power, backflow assemblies and drinking water pipes are "
        "worked on by people licensed for them. Tell us of cables and pipes of your own in the ground before we dig."
    ),
    "proposal.care_mains": (
        "Work on mains power (controller or pump supply) is done by a licensed electrician as local rules require. "
        "Until it is mended, do not open the panel; switch it off at its isolator if it looks or smells wrong and "
        "you can reach the isolator without touching anything wet, hot or damaged."
    ),
    "proposal.care_backflow": (
        "Work on the backflow assembly or on drinking water pipes is done and tested by people licensed for it, as "
        "local rules require. The assembly protects drinking water: do not bypass it."
    ),
    "proposal.care_unsafe": "A fault marked unsafe: keep people away from it until it is made safe.",
    "proposal.mail.subject": "Repair proposal {number} for {site}",
    "proposal.mail.body": (
        "Dear {greeting},\n\nat {site} we found faults that need repair. Attached is our proposal {number} over "
        "{total}.\n\nRead it and accept or decline it here, without signing in, until {until}:\n{link}\n\n"
        "Accepting it is an order for the work listed. Whoever has this link can read and answer the proposal. If "
        "something in it is not clear, just answer this mail.\n\n{signature}\n"
    ),
    "proposal.mail.file_name": "proposal-{number}-{site}",
    "proposal.answer": "Your answer",
    "proposal.name": "Your name",
    "proposal.answer_note": "Note to us (optional)",
    "proposal.choice": "Answer",
    "proposal.accept": "I accept: I order the work listed for {total}",
    "proposal.decline": "I decline",
    "proposal.confirm": "I may answer for {client}, and my answer is final",
    "proposal.submit": "Send the answer",
    "proposal.need_name": "Enter your name.",
    "proposal.need_choice": "Choose whether you accept or decline.",
    "proposal.need_confirm": "Tick this to send your answer.",
    "proposal.long": "This is too long: at most {most} characters.",
    "proposal.unsent": "Your answer was not sent yet. Look at the marked fields.",
    "proposal.is_accepted": "Accepted on {date} by {name}. Thank you: we arrange a day for the repair with you.",
    "proposal.is_declined": "Declined on {date} by {name}. Nothing was ordered. Call us if you change your mind.",
    "proposal.is_expired": (
        "This proposal was valid until {until} and can no longer be answered. Ask us for a new one."
    ),
    "proposal.is_superseded": (
        "A newer proposal has taken the place of this one; it can no longer be answered. Use the link in our newer "
        "mail."
    ),
    "proposal.is_withdrawn": "We have taken this proposal back; it can no longer be answered. Ask us about it.",
    "proposal.too_late": "Your answer was not taken.",
    "proposal.no_visit": (
        "Your answer could not be taken here. Nothing was ordered. Please call us or answer our mail."
    ),
    # The mail and the page behind its link
    "mail.subject": "Season report {season} for {site}",
    "mail.attached": (
        "Dear {greeting},\n\nattached is the irrigation season report {season} for {site}: how the season was, how "
        "much water went where, what we did and found, and what we suggest.\n\nIf something in it is not clear, just "
        "answer this mail.\n\n{signature}\n"
    ),
    "mail.linked": (
        "Dear {greeting},\n\nthe irrigation season report {season} for {site} is ready: how the season was, how much "
        "water went where, what we did and found, and what we suggest.\n\nRead it here, without signing in, until "
        "{until}:\n{link}\n\nWhoever has this link can read the report. If something in it is not clear, just answer "
        "this mail.\n\n{signature}\n"
    ),
    "mail.file_name": "season-report-{season}-{site}",
    "shared.download": "Download as PDF",
    "shared.until": "This page can be read until {date}.",
}
