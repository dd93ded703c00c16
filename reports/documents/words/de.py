"""German, for the documents a client reads."""

WORDS = {
    "page": "Seite {number} von {count}",
    "missing": "{sign} steht für ein Zeichen, das diese Schrift nicht drucken kann.",
    "by": "{when} von {who}",
    "count.fault.one": "{n} Mangel",
    "count.fault.many": "{n} Mängel",
    "count.day.one": "{n} Tag",
    "count.day.many": "{n} Tage",
    "count.month.one": "{n} Monat",
    "count.month.many": "{n} Monate",
    "count.step.one": "{n} Punkt der Prüfliste",
    "count.step.many": "{n} Punkte der Prüfliste",
    "count.valve.one": "{n} Ventil",
    "count.valve.many": "{n} Ventile",
    # The season report
    "report.title": "Saisonbericht {season}",
    "report.full_title": "Saisonbericht {season}, {site}",
    "report.reference": "Anlage {site}, Saison {season}",
    "report.for": "Für",
    "report.season": "Saison",
    "report.prepared": "Erstellt",
    "report.period": "{first} bis {until}",
    "report.live": "Ihre Anlagen, aktuell",
    "weather.title": "Wie die Saison war",
    "weather.need": "Bedarf (ET), {unit}",
    "weather.normal_need": "ET, üblich",
    "weather.rain_bars": "Regen, {unit}",
    "weather.et": "Referenz-ET, {unit}",
    "weather.rain": "Regen, {unit}",
    "weather.this_season": "diese Saison",
    "weather.normal": "üblich",
    "weather.a_week": "{depth} je Woche",
    "weather.station": "Wetterstation: {name}.",
    "weather.none": "Für diese Anlage ist keine Wetterstation eingetragen.",
    "weather.about": (
        "Die Referenz-ET ist das Wasser, das ein Vergleichsrasen verbraucht hätte; Regen ist, was an der Station "
        "fiel. Üblich ist das Mittel aller dort aufgezeichneten Jahre."
    ),
    "weather.estimated": "≈ Geschätzt: Tage ohne Aufzeichnung zählen wie das Mittel der übrigen ({months}).",
    "weather.days_known": "{month}: {days} bekannt",
    "weather.so_far": "{month} bis zum {date}.",
    "month": "Monat",
    "water.title": "Wohin das Wasser ging, Monat für Monat",
    "water.basis_metered": (
        "Am Zähler zwischen seinen Ablesungen, auf die Tage verteilt, wie der Plan es vorsieht; wie nach Plan "
        "erwartet an Tagen, über die der Zähler nichts sagt."
    ),
    "water.basis": (
        "Kein Zähler sagt, wie viel verbraucht wurde: Dies sind die Laufzeiten, wie sie eingestellt waren, ohne die "
        "Tage, an denen die Anlage abgestellt oder ausgesetzt war, und ohne Zonen, die ein Mangel stillgelegt hat."
    ),
    "water.used": "Verbrauch, {unit}",
    "water.expected": "Erwartet, {unit}",
    "bridge.title": "Vom geplanten zum verbrauchten Wasser",
    "bridge.planned": "Geplant: wie veröffentlicht",
    "bridge.off": "Anlage abgestellt, {days}",
    "bridge.paused": "Ausgesetzt, {days}",
    "bridge.set_otherwise": "Am Steuergerät an einem anderen Tag eingestellt als veröffentlicht",
    "bridge.stopped": "Kein Wasser: {fault}, {where}, {first} bis {last}",
    "bridge.expected": "Erwartet",
    "bridge.added": "Lief neben dem Plan: {fault}, {where}, {first} bis {last}",
    "bridge.not_measured": "nicht gemessen",
    "bridge.rest": "Nicht erklärt",
    "bridge.rest_unmeasured": "Nicht erklärt, samt dem, was niemand gemessen hat",
    "bridge.used": "Verbraucht: nach dem Zähler von {first} bis {last}, sonst war nichts zu erwarten",
    "bridge.used_partly": "Verbraucht: nach dem Zähler von {first} bis {last}, sonst wie erwartet",
    "bridge.used_expected": "Verbraucht: wie erwartet, kein Zähler sagt es",
    "water.last_year": "Vorjahr, {unit}",
    "water.budget": "Budget, {unit}",
    "water.total": "{name}: {parts}.",
    "water.total_used": "Verbrauch {amount}",
    "water.total_budget": "Budget {amount}",
    "water.total_last_year": "Vorjahr {amount}",
    "water.season": "Saison",
    "zones.title": "Wasser je Zone in der Saison, wie nach Plan erwartet",
    "zone": "Zone",
    "visits.title": "Was wir getan haben",
    "visits.none": "Für diese Saison ist kein Besuch aufgezeichnet.",
    "visits.date": "Datum",
    "visits.visit": "Besuch",
    "visits.what": "Was getan wurde",
    "visits.technician": "Techniker",
    "visits.steps_done": "{steps} erledigt",
    "visits.measured": "{valves} gemessen",
    "visits.found": "{faults} gefunden",
    "visits.none_found": "keine Mängel gefunden",
    "faults.title": "Gefundene und behobene Mängel",
    "faults.none": "Für diese Saison ist kein Mangel aufgezeichnet.",
    "faults.found": "Gefunden",
    "faults.where": "Wo",
    "faults.fault": "Mangel",
    "faults.outcome": "Ergebnis",
    "faults.open": "offen",
    "faults.repaired_on": "behoben am {date}",
    "advice.title": "Was wir empfehlen",
    "advice.what": "Empfehlung",
    "advice.saving": "Würde sparen",
    "advice.cost": "Würde kosten",
    "advice.repair": "Beheben: {fault}, {where}",
    "advice.found": "{severity}; gefunden am {date}.",
    "advice.part": "Benötigtes Teil: {part}.",
    "advice.backflow": "Prüfung der Absicherung gegen Rückfließen: {assembly}",
    "advice.backflow_due": "Fällig am {date}; durch zugelassene Prüfer, wie es die örtlichen Regeln verlangen.",
    "advice.even": "Regner und Düsen instand setzen, damit es gleichmäßig regnet (Verteilgüte 0,70, gängige Praxis)",
    "advice.mulch": "Beete und den Boden unter Sträuchern und Bäumen mulchen",
    "advice.drip": "Tropfrohr statt Sprühdüsen in Beeten, unter Sträuchern und Bäumen",
    "advice.what_if": (
        "Die Saison bis {until} nach Bedarf gerechnet braucht damit {percent} % weniger; so viel von {used}."
    ),
    "advice.uniformity": "Zone {zone} gleichmäßiger machen",
    "advice.uniformity_why": (
        "Ihre gemessene Verteilgüte ist {figure}; unter {limit} (gängige Praxis) bestimmen die trockenen Stellen, "
        "wie lange sie läuft."
    ),
    "cost.title": "Was das Wasser gekostet hat",
    "cost.item": "Posten",
    "cost.amount": "Betrag",
    "cost.total": "Summe",
    "cost.fixed": "Grundpreis, Tarif {tariff}",
    "cost.water": "Wasser: {volume} verbraucht, je Kalendermonat abgerechnet von {first} bis {last}",
    "cost.note": "Nach dem Tarif gerechnet; Abrechnungstage und Ablesungen des Versorgers weichen ab.",
    "next.title": "Die nächsten Termine",
    "next.by": "bis {date}",
    "next.between": "zwischen {first} und {last}",
    "assumed.title": "Anhang: was angenommen wurde",
    "assumed.note": "Übliche Werte, wo auf Ihrer Anlage nichts gemessen wurde.",
    "assumed.none": "Für diesen Bericht ist keine Annahme aufgezeichnet.",
    "assumed.what": "Was",
    "assumed.value": "Angenommener Wert",
    "assumed.source": "Quelle",
    "assumed.zone": "{what}, Zone {zones}",
    "assumed.zones": "{what}, Zonen {zones}",
    "headline.water": "Wasser verbraucht",
    "headline.by_meter": "nach dem Zähler, {first} bis {last}",
    "headline.partly": "davon {volume} nach dem Zähler, {first} bis {last}",
    "headline.expected": "wie erwartet; kein Zähler sagt es",
    "headline.allowance": "des Wasserkontingents im Jahr",
    "headline.et": "Referenz-ET",
    "summary.water": "Die Anlage verbrauchte {volume} Wasser.",
    "summary.expected": "Nach dem eingestellten Plan verbrauchte die Anlage {volume}; kein Zähler sagt es.",
    "summary.years": "Gegen das Vorjahr sind das {raw} %, um das Wetter bereinigt {corrected} % ({days}).",
    "summary.years_raw": "Gegen das Vorjahr sind das {raw} %, nicht um das Wetter bereinigt ({days}).",
    "summary.faults": "Wir haben {faults} gefunden und davon {repaired} behoben.",
    "summary.no_faults": "Wir haben keine Mängel gefunden.",
    "summary.unknown": "Nicht mitgezählt, weil der Plan oder ihr Durchfluss fehlt: {zones}.",
    # Names of things
    "visit.startup": "Inbetriebnahme",
    "visit.mid_season": "Sommerkontrolle",
    "visit.winterisation": "Einwinterung",
    "visit.repair": "Reparatur",
    "fault.coil_open": "Unterbrechung: Draht, Verbinder oder Spule",
    "fault.coil_short": "Kurzschluss in Draht oder Spule",
    "fault.high_resistance": "hoher Widerstand: Verbinder oder Draht korrodiert",
    "fault.low_voltage": "zu wenig Spannung am Ventil",
    "fault.valve_stuck_shut": "Ventil öffnet nicht",
    "fault.valve_stuck_open": "Ventil schließt nicht",
    "fault.valve_weeps": "Ventil tropft nach",
    "fault.pipe_leak": "Rohr oder Verbindung undicht",
    "fault.head_broken": "Regner gebrochen oder fehlt",
    "fault.head_blocked": "Regner verstopft oder falsch eingestellt",
    "fault.low_pressure": "zu wenig Druck oder Durchfluss",
    "fault.controller": "Mangel am Steuergerät",
    "fault.pump": "Mangel an der Pumpe",
    "fault.backflow": "Mangel an der Absicherung gegen Rückfließen",
    "fault.other": "Sonstiges",
    "severity.unsafe": "gefährlich",
    "severity.water_loss": "Wasserverlust",
    "severity.plants_at_risk": "Pflanzen gefährdet",
    "severity.cosmetic": "Schönheitsfehler",
    "place.zone": "Zone {name}",
    "place.valve": "Ventil {name}",
    "place.site": "Anlage",
    "backflow.reduced_pressure": "Systemtrenner mit Druckzonen",
    "backflow.double_check": "doppelter Rückflussverhinderer",
    "backflow.pressure_vacuum": "Rohrbelüfter unter Druck",
    "backflow.atmospheric": "Rohrbelüfter",
    # The repair proposal
    "unit.piece": "Stk.",
    "unit.hour": "Std.",
    "unit.metre": "m",
    "unit.foot": "ft",
    "proposal.title": "Reparaturangebot {number}",
    "proposal.full_title": "Reparaturangebot {number}, {site}",
    "proposal.reference": "Angebot {number}, Anlage {site}",
    "proposal.for": "Für",
    "proposal.date": "Datum",
    "proposal.valid_until": "Gültig bis",
    "proposal.supersedes": "Ersetzt",
    "proposal.earlier": "Angebot {number}",
    "proposal.faults": "Was wir gefunden haben",
    "proposal.fault": "Mangel",
    "proposal.where": "Wo",
    "proposal.found": "Gefunden",
    "proposal.severity": "Schweregrad",
    "proposal.lines": "Was wir vorschlagen",
    "proposal.what": "Arbeit und Teile",
    "proposal.repairs": "Behebt",
    "proposal.whole": "die Arbeit insgesamt",
    "proposal.quantity": "Menge",
    "proposal.price": "Preis, {currency}",
    "proposal.amount": "Betrag, {currency}",
    "proposal.total": "Summe, {currency}",
    "proposal.sum": "Summe {total}",
    "proposal.note": "Anmerkung",
    "proposal.order": "Was die Annahme bedeutet",
    "proposal.order_is": (
        "Mit der Annahme dieses Angebots bestellen Sie die oben aufgeführten Arbeiten zu den aufgeführten Preisen, "
        "zusammen {total}. Es kann bis {until} einmal angenommen werden: über den Link in unserer Nachricht oder "
        "durch Antwort an uns."
    ),
    "proposal.order_then": (
        "Danach vereinbaren wir mit Ihnen einen Tag für die Reparatur. Nicht aufgeführte Arbeiten gehören nicht dazu."
    ),
    "proposal.order_else": "Wenn Sie ablehnen, geschieht nichts, und die Mängel bleiben wie beschrieben.",
    "proposal.draft": "Entwurf: nicht versandt, kein Angebot.",
    "proposal.care": "Sicherheit und zugelassene Fachbetriebe",
    "proposal.care_codes": (
        "Örtliche Vorschriften, die Regeln des Wasserversorgers und die Anleitungen der Hersteller gehen vor; sie "
        "können ändern, was zu tun ist. Wir sagen es Ihnen, bevor wir es tun. An Netzstrom, Systemtrennern und "
        "Trinkwasserleitungen arbeiten dafür zugelassene Fachleute. Sagen Sie uns vor dem Graben, wo eigene Kabel "
        "und Leitungen in der Erde liegen."
    ),
    "proposal.care_mains": (
        "Arbeiten am Netzstrom (Anschluss von Steuergerät oder Pumpe) macht eine zugelassene Elektrofachkraft, "
        "wie es die örtlichen Regeln verlangen. Öffnen Sie bis dahin das Gehäuse nicht; schalten Sie am "
        "Trennschalter ab, wenn etwas nicht in Ordnung aussieht oder riecht und Sie ihn erreichen, ohne Nasses, "
        "Heißes oder Beschädigtes zu berühren."
    ),
    "proposal.care_backflow": (
        "Arbeiten am Systemtrenner oder an Trinkwasserleitungen machen und prüfen dafür zugelassene Fachleute, wie "
        "es die örtlichen Regeln verlangen. Er schützt das Trinkwasser: umgehen Sie ihn nicht."
    ),
    "proposal.care_unsafe": "Ein als gefährlich bezeichneter Mangel: Menschen fernhalten, bis er gesichert ist.",
    "proposal.mail.subject": "Reparaturangebot {number} für {site}",
    "proposal.mail.body": (
        "Guten Tag {greeting},\n\nbei {site} haben wir Mängel gefunden, die repariert werden sollten. Anbei unser "
        "Angebot {number} über {total}.\n\nHier können Sie es ohne Anmeldung lesen und annehmen oder ablehnen, bis "
        "{until}:\n{link}\n\nMit der Annahme bestellen Sie die aufgeführten Arbeiten. Wer diesen Link hat, kann das "
        "Angebot lesen und beantworten. Wenn darin etwas nicht klar ist, antworten Sie einfach auf diese "
        "Nachricht.\n\n{signature}\n"
    ),
    "proposal.mail.file_name": "angebot-{number}-{site}",
    "proposal.answer": "Ihre Antwort",
    "proposal.name": "Ihr Name",
    "proposal.answer_note": "Nachricht an uns (freiwillig)",
    "proposal.choice": "Antwort",
    "proposal.accept": "Ich nehme an: ich bestelle die aufgeführten Arbeiten für {total}",
    "proposal.decline": "Ich lehne ab",
    "proposal.confirm": "Ich darf für {client} antworten, und meine Antwort ist endgültig",
    "proposal.submit": "Antwort senden",
    "proposal.need_name": "Bitte geben Sie Ihren Namen ein.",
    "proposal.need_choice": "Bitte wählen Sie, ob Sie annehmen oder ablehnen.",
    "proposal.need_confirm": "Bitte ankreuzen, um Ihre Antwort zu senden.",
    "proposal.long": "Das ist zu lang: höchstens {most} Zeichen.",
    "proposal.unsent": "Ihre Antwort ist noch nicht gesendet. Bitte sehen Sie die markierten Felder an.",
    "proposal.is_accepted": "Angenommen am {date} von {name}. Vielen Dank: wir vereinbaren mit Ihnen einen Tag.",
    "proposal.is_declined": (
        "Abgelehnt am {date} von {name}. Es wurde nichts bestellt. Rufen Sie uns an, wenn Sie es sich anders "
        "überlegen."
    ),
    "proposal.is_expired": (
        "Dieses Angebot war bis {until} gültig und kann nicht mehr beantwortet werden. Fragen Sie uns nach einem "
        "neuen."
    ),
    "proposal.is_superseded": (
        "Ein neueres Angebot ist an die Stelle von diesem getreten; es kann nicht mehr beantwortet werden. Nehmen "
        "Sie den Link in unserer neueren Nachricht."
    ),
    "proposal.is_withdrawn": (
        "Wir haben dieses Angebot zurückgezogen; es kann nicht mehr beantwortet werden. Fragen Sie uns danach."
    ),
    "proposal.too_late": "Ihre Antwort wurde nicht angenommen.",
    "proposal.no_visit": (
        "Ihre Antwort konnte hier nicht angenommen werden. Es wurde nichts bestellt. Bitte rufen Sie uns an oder "
        "antworten Sie auf unsere Nachricht."
    ),
    # The mail and the page behind its link
    "mail.subject": "Saisonbericht {season} für {site}",
    "mail.attached": (
        "Guten Tag {greeting},\n\nanbei der Saisonbericht {season} zur Bewässerung von {site}: wie die Saison war, "
        "wie viel Wasser wohin ging, was wir getan und gefunden haben und was wir vorschlagen.\n\nWenn darin etwas "
        "nicht klar ist, antworten Sie einfach auf diese Nachricht.\n\n{signature}\n"
    ),
    "mail.linked": (
        "Guten Tag {greeting},\n\nder Saisonbericht {season} zur Bewässerung von {site} ist fertig: wie die Saison "
        "war, wie viel Wasser wohin ging, was wir getan und gefunden haben und was wir vorschlagen.\n\nSie können "
        "ihn hier ohne Anmeldung lesen, bis {until}:\n{link}\n\nWer diesen Link hat, kann den Bericht lesen. Wenn "
        "darin etwas nicht klar ist, antworten Sie einfach auf diese Nachricht.\n\n{signature}\n"
    ),
    "mail.file_name": "saisonbericht-{season}-{site}",
    "shared.download": "Als PDF herunterladen",
    "shared.until": "Diese Seite kann bis {date} gelesen werden.",
    # Names inside the phrases below
    "name.cool-season turf": "Rasen kühler Lagen",
    "name.warm-season turf": "Rasen warmer Lagen",
    "name.sports turf": "Sportrasen",
    "name.annual flowers": "Sommerblumen",
    "name.perennials and ground cover": "Stauden und Bodendecker",
    "name.shrubs": "Sträucher",
    "name.trees": "Bäume",
    "name.drought-tolerant planting": "trockenheitsverträgliche Pflanzung",
    "name.vegetables": "Gemüse",
    "name.clay": "Ton",
    "name.silty clay": "schluffiger Ton",
    "name.clay loam": "toniger Lehm",
    "name.loam": "Lehm",
    "name.sandy loam": "sandiger Lehm",
    "name.loamy sand": "lehmiger Sand",
    "name.sand": "Sand",
    "name.fixed spray": "Sprühdüsen",
    "name.multi-stream rotating nozzle": "Mehrstrahldüsen",
    "name.gear or impact rotor": "Getrieberegner oder Schwinghebelregner",
    "name.micro-spray": "Mikrosprühdüsen",
    "name.in-line drip grid": "Tropfrohr im Raster",
    "name.point-source drip": "Einzeltropfer",
    "name.bubbler": "Sprudler",
}

# What the computing code calls an assumed default, and where it has it from. Order counts: the longest first.
PHRASES = (
    (r"^factor of (.+)$", "Pflanzenfaktor für {0}"),
    (r"^allowed depletion MAD$", "zulässige Ausschöpfung (MAD)"),
    (r"^root depth$", "Wurzeltiefe"),
    (r"^application rate$", "Niederschlagsrate"),
    (r"^distribution uniformity DU$", "Verteilgüte (DU)"),
    (r"^available water$", "nutzbares Bodenwasser"),
    (r"^basic intake$", "Schluckvermögen des Bodens"),
    (r"^surface accumulation$", "Wasser, das auf der Fläche stehen darf"),
    (r"^slope$", "Hangneigung"),
    (r"^table value for ([^;,]+)", "Tabellenwert für {0}"),
    (r"soil not entered: (.+?) assumed", "Boden nicht erfasst: {0} angenommen"),
    (r"slope not entered: level assumed", "Neigung nicht erfasst: eben angenommen"),
    (r"^usual for (.+?)(?=, common practice|$)", "üblich für {0}"),
    (r"monthly turf Kc as tabulated by the UC extension", "monatliche Rasen-Kc nach der Tabelle der UC-Beratung"),
    (r"annual plant factors", "Pflanzenfaktoren für das Jahr"),
    (r"controller testing protocol \(2008 draft\)", "Prüfvorschrift für Steuergeräte (Entwurf 2008)"),
    (r"landscape coefficient method", "Verfahren der Pflanzenkoeffizienten"),
    (r"UC SLIDE tabulation", "UC-Tabelle nach SLIDE"),
    (r"soak limits 20 to 120 min", "Sickerpausen 20 bis 120 min"),
    (r"turf \(well watered\)", "Rasen (gut bewässert)"),
    (r"S623 excludes sports turf", "S623 schließt Sportrasen aus"),
    (r"common practice", "gängige Praxis"),
    (r"not confirmed in print", "nicht am Druck nachgeprüft"),
)
