"""Short help for each page, in one place: a topic for each set of pages, or for one page of it."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Topic:
    """What one page of help says.

    Attributes
    ----------
    title : str
    paragraphs : tuple[str, ...]
        Plain sentences.
    commands : tuple[tuple[str, str], ...]
        Commands for a terminal, each with what it does.
    """

    title: str
    paragraphs: tuple[str, ...]
    commands: tuple[tuple[str, str], ...] = ()


TOPICS: Mapping[str, Topic] = {
    "begin": Topic(
        title="Beginning",
        paragraphs=(
            "There are three ways in: a bench that is simulated whole, readings that you type, or a "
            "Raspberry Pi with the bench wired to it. All three end in the same result and the same kind "
            "of certificate.",
            "The simulated bench runs on this machine as a program of its own. Nothing it says is about a"
            " real sender, and every result of it says so. It does not go where real instruments are in "
            "the register.",
            "A room of six simulated stations is for a class: each is a program with a bath, "
            "probe and senders of its own. A station whose program ended is named there and started again by "
            "a button; its bath is as it was, a little cooler.",
            "A Pi is joined by a file that holds the password of its station. It is written in a terminal"
            " on this machine and carried over by hand: keep it to yourself and delete it afterwards.",
        ),
        commands=(
            ("ohmbath demo", "two senders on a simulated bench, in a folder of its own"),
            ("ohmbath demo --room 6", "six simulated stations for a class, in a folder of its own"),
            ("ohmbath check points.csv --curve ntc-310-80c", "judges readings typed into a file"),
            (
                "ohmbath station add bench-1 --join-file bench-1.toml",
                "adds a station, writes its joining file",
            ),
        ),
    ),
    "stations": Topic(
        title="Stations and live values",
        paragraphs=(
            "A station is one rig. The page says what it reads now, in words where something is wrong: "
            "those words say what to look at first.",
            "The agreement strip has one temperature axis. Each thermometer is a bar as long as its "
            "expanded uncertainty U: bars that overlap agree, and a gap is a disagreement with its size "
            "printed in it.",
            "Live bars are as read. A run first checks the ohms against the decade box and corrects them.",
            "A silent station: look at its light, its power and its network. Its rig keeps what it reads "
            "and sends it when it is heard again.",
        ),
        commands=(("ohmbath-rig selftest", "on the Pi: every chip, relay and range in two minutes"),),
    ),
    "wall": Topic(
        title="The wall",
        paragraphs=(
            "Every station of a room on one page, trouble first: silent, in trouble, in need of hands, "
            "waiting for its bath, reading, idle. Who is at it, where its run stands and for how long, its "
            "agreement strip, and what came of its last check.",
            "It moves by itself and may stay on a projector. A station leads to its "
            "page, the step to the run, the verdict to the last result.",
            "The whole room reads it: of an exercise it shows neither what is planted nor what came of it. "
            "An instructor looks into the exercise from its row.",
        ),
        commands=(("ohmbath demo --room 6", "six simulated stations to try it with"),),
    ),
    "runs": Topic(
        title="Sender checks",
        paragraphs=(
            "Name the sender, choose the curve it was made to follow and at least three temperatures. "
            "Then follow the one instruction on the page; a reload or another phone shows the same place.",
            "The limit comes with the curve. Where the curve was printed without one, write how many "
            "kelvin the sender may be off.",
            "Where nobody knows the curve, let it be found out: all is read first, then the page ranks the "
            "curves and waits for your choice. A curve that was chosen because it fits says what the sender "
            "follows; no certificate then calls it in tolerance.",
            "A photo of the sender may go with its run, from the phone at the bench: made small, without the "
            "place and time that a phone writes into it. The result shows it, the certificate does not.",
            "The picture of the way shows the sender’s resistance over the bath, its curve dashed. While the "
            "bath heats the sender lags and its branch stands off the curve; held at a plateau (a ring) it "
            "closes. A branch that stays open when held is the sender’s error, or leads and clips.",
            "Three verdicts: ● in tolerance, ◆ out of tolerance, ◐ not decided. Not decided means that "
            "the limit lies within the uncertainty: measure better, or accept the risk with the simple "
            "rule.",
            "The thorough way measures what the usual one assumes. At the hottest temperature it reads the "
            "sender with two currents, at two depths and swapped with the probe; what each told stands on "
            "the certificate. Change only what the page asks for, one thing at a time.",
            "Hot water and steam scald. Nothing sealed is heated, the jug is never moved, hands stay out "
            "while the heater is on; where the thorough way asks for hands at the hot jug, wear gloves and "
            "eye protection and use tongs. Local rules and licensed practice come first.",
        ),
    ),
    "people": Topic(
        title="Signing in",
        paragraphs=(
            "A desk on its own machine needs no signing in until somebody has an account. The first account "
            "is made in a terminal; from then on every page asks who is there. There is no password that "
            "comes with the program.",
            "Technicians run checks and keep the register, authorisers let certificates out, instructors "
            "keep a room and its people, students run checks and see no certificates. A person may have "
            "several roles, and may pin a screen to one of them.",
            "After several wrong passwords the name has to wait; the page says how long.",
        ),
        commands=(
            (
                "ohmbath person add ada --role authoriser --role technician",
                "the first account: asks for a password, and may see to settings and people",
            ),
        ),
    ),
    "exercises": Topic(
        title="Exercises",
        paragraphs=(
            "An exercise is a sender check on a bench at which the instructor has planted a fault: by name "
            "on a simulated bench, by relay on a real one, where the decade box stands in series with the "
            "sender or across it. On paper it needs no bench: the table is worked out from the fault and the "
            "curve, with what a meter shows (OL, 0, or both by turns over a loose contact), or typed.",
            "A student sees the readings, the error against the curve and its U, and no diagnosis. The "
            "answer names the fault and its size and gives the reason in a sentence; it is given once.",
            "The credit for the size is whole within the tolerance that the instructor set, and half within "
            "twice of it. The sentence is read and marked by the instructor.",
            "Before a fault is set the desk tries, on readings to be expected of a part in the middle of its "
            "tolerance, whether it would name it from such a check. Where it would not, it says so, with the "
            "size from which it would; you may set it nonetheless.",
            "What was planted shows to the instructor on the press of a button, and to a student once the "
            "answer is given. A run with a planted fault never comes to a certificate.",
            "An exercise goes to who is a student and nothing else: every other role sees what was planted.",
            "Closing it stops the checks that go on and takes the decade box out of the circuit. Close it "
            "before a customer's sender is checked there; the page of a station says where the box stands.",
        ),
        commands=(("ohmbath person roster class.csv", "makes accounts for a class, with a slip for each"),),
    ),
    "infrared": Topic(
        title="Infrared check",
        paragraphs=(
            "An infrared thermometer is shot at a target whose temperature a probe or a contact thermometer "
            "says, three times or more at each of three temperatures. What it should have shown follows from "
            "the emissivity of the target, the one it is set to, and the room that the target mirrors.",
            "Most of the uncertainty is the target's: its emissivity, how much colder its face is than its "
            "probe, and what the thermometer sees beside it. A painted plate with a probe under its face is "
            "better than a thermometer taped on, and a bench with a probe better than one read by hand.",
            "At a station the bench button stamps the shot: press it as you pull the trigger, then type what "
            "the display says. A shot that lies apart is asked about. It stays in the record either way.",
            "The corrections go into the register by one button, and a spot on the vehicle is then corrected "
            "by them. Nothing is corrected beyond the temperatures that were checked.",
        ),
        commands=(("ohmbath infrared", "one reading corrected for emissivity, on the command line"),),
    ),
    "rounds": Topic(
        title="Rounds through the stations",
        paragraphs=(
            "One artefact (a sender, or a fixed resistor) is measured at every station. Each result is held "
            "against the reference: the En number is the difference over both uncertainties together, and up "
            "to 1 the station agrees.",
            "Beside it stand a mean and a spread of all stations that a wild one hardly moves (Algorithm A "
            "of ISO 13528); they need three stations. Without a reference each station is held against the "
            "mean of the others, which needs four.",
            "A result comes from a finished check of the station, from its rig for a resistor, or typed by "
            "hand. At simulated stations a press clips the resistor of the register in, until a sender is "
            "hung in again.",
            "One that comes late or again is kept, and counts once you say so and why. A station that "
            "cannot be had is left out with a reason; both stand on the paper.",
            "Give an uncertainty at about 95 % with its k. A station with too small a U is called off though "
            "it may read well; one with too large a U agrees with everything.",
        ),
    ),
    "typed": Topic(
        title="A sender, typed by hand",
        paragraphs=(
            "Without a rig: a thermometer, a resistance meter and a jug of stirred water. Type one point a "
            "row and name the curve; the result and its certificate are of the same kind as a bench's, with "
            "the larger uncertainty that reading by hand deserves.",
            "Where the meter finds nothing (OL) or a short (0), type that: it is kept and said, not judged, "
            "and weighed with the other reasons why a sender may be off.",
            "A thermometer without a stated uncertainty is taken to be sure to 0.6 K, a meter to 1 % "
            "(standard uncertainties, assumed).",
        ),
        commands=(("ohmbath check points.csv --curve ntc-310-80c", "the same in a terminal, from a file"),),
    ),
    "ohms": Topic(
        title="The ohms of a station",
        paragraphs=(
            "The bench puts its own decade box through seven values on each range and compares what it reads "
            "with the certificate of the box. From these it works out the correction of each range. Every "
            "sender check begins with it; it can also be made alone, without bath or sender.",
            "A check that passed serves the sender checks of the next 24 hours at the same station, as long "
            "as rig, box and the certificate of the box stay the same. One that stopped speaks against all "
            "before it.",
            "As found is before the correction, as left after it. The history shows as found: a reference "
            "resistor that drifts shows there long before it matters. Where the box got a new certificate, "
            "a step in the history may be the box's.",
            "Errors are said in ohms and, beside them, in kelvin: by so much a coolant sender of 2.5 kΩ at "
            "20 °C would be misread there.",
        ),
    ),
    "meter-and-box": Topic(
        title="Meter and decade box",
        paragraphs=(
            "One of the two needs a certificate in the register, and gives it to the other: the decade box "
            "to the resistance meter that typed checks are read with, or a good meter to the box.",
            "Leads are read joined and taken off, unless the meter has four wires. Write every reading with "
            "all its digits: the last one says how fine the meter shows.",
            "A box goes into the register with the part of U that grows with the value and the part that "
            "does not, made large enough for any setting of its dials.",
            "A box with a resistor for each position of a dial is read at each of them; one that adds up "
            "1, 2, 4 and 8 at those.",
        ),
    ),
    "on-the-vehicle": Topic(
        title="On the vehicle",
        paragraphs=(
            "Gauge, scan data and infrared spots are read one after the other and laid on one axis. The "
            "record says which of them disagrees, by how much, and what to try next. It is a record, not "
            "a certificate.",
            "Never open a warm cooling system: it is under pressure and the coolant scalds. Keep away "
            "from belts and fans, and let exhaust out of the shop. The pointer of an infrared thermometer"
            " is a laser.",
        ),
    ),
    "certificates": Topic(
        title="Certificates",
        paragraphs=(
            "A certificate is never edited or deleted; its numbers have no gaps. The paper (PDF) carries "
            "the same data inside.",
            "At a desk with accounts a finished check is a draft until an authoriser lets it out; whether "
            "that may be who measured is a setting. A desk without accounts issues at once and leaves a line "
            "to sign on.",
            "What turns out wrong is withdrawn with its reason, or amended: a new one takes its place "
            "and says what changed. Each names the head of the chain before it, so that a missing one shows.",
            "Inside the paper are the same data twice: as JSON, and as a digital calibration certificate "
            "(XML, DCC schema version 3.3.0; a reader of 3.1.2 alone refuses it) for other people's "
            "programs. A comparison on the vehicle leaves a record, which is no certificate and says so. "
            "A run that checked its station's resistance channel can put that on paper too, from its result.",
            "It states what was measured, with which instruments, with what uncertainty (U, k) and by "
            "which decision rule. It claims no accreditation.",
            "A label of 40 × 20 mm goes onto what was measured: number, item, day of issue, the day it is "
            "due where the shop or the customer has set one, verdict, and the code of the paper. Its printer "
            "must not fit it to the page (100 %). What is withdrawn or superseded gets none.",
        ),
    ),
    "verify": Topic(
        title="Verify a paper",
        paragraphs=(
            "For whoever holds a certificate, signed in or not. Choose the PDF as you were given it: the "
            "page says whether a single byte was changed since it was sealed, whether this shop sealed it, "
            "and whether it still holds or was superseded or withdrawn. The file is read and not kept.",
            "With only the paper or the sticker, type number and fingerprint: the page says whether this "
            "desk issued that one and how it stands, and nothing else. A fingerprint that does not fit tells "
            "nothing. A print or a scan has no seal: what it says can be checked by its file alone.",
            "A page can be imitated as a paper can. Who must be sure keeps the shop's public key, as the "
            "shop gave it, and verifies without any network. Customers reach this page only where the desk "
            "is open to the network.",
        ),
        commands=(
            ("ohmbath certificate verify FILE.pdf --key shop.pem", "verifies a file without a desk"),
            ("ohmbath certificate key --public", "prints the public key, to be handed out"),
        ),
    ),
    "register": Topic(
        title="Register",
        paragraphs=(
            "Every instrument with its certificates. Of each kind the one that was put to use last is used; "
            "a reference that failed, or is past its due date, blocks checks until it has a new certificate.",
            "Type the values as the paper has them. Nothing is changed or deleted: a certificate that was "
            "typed wrong is typed again under the same number, and both are kept.",
            "The history is a straight line through the certificates (weighted least squares), carried on to "
            "today. A due date is yours to set, or to leave out.",
        ),
        commands=(
            ("ohmbath register add probe.toml", "adds a certificate from a file"),
            ("ohmbath register list", "every entry, and what may not be used"),
        ),
    ),
    "curves": Topic(
        title="Curves",
        paragraphs=(
            "Published resistance-temperature tables, each with its source. A curve of two or three rows "
            "judges only at those rows; one whose limits were not printed needs a limit from you.",
            "A curve of your own comes from the service manual: its rows, and where they are printed.",
            "Find out: two or more points far apart. The probabilities say how sure it is; “none of these” "
            "is an answer.",
        ),
        commands=(
            ("ohmbath curves", "lists them"),
            ("ohmbath identify --point 20C:2.45k --point 80C:318", "finds out"),
        ),
    ),
    "settings": Topic(
        title="Settings",
        paragraphs=(
            "What the shop decides once: its name on paper, its clock, the scale pages begin with, the "
            "decision rule that a new check proposes, and how long a calibration holds.",
            "Guarded rule: a verdict only where the uncertainty leaves no doubt. Simple rule: the error "
            "alone decides, and near the limit it is wrong up to one time in two (ILAC-G8:09/2019).",
            "What was issued stays as it was issued.",
        ),
        commands=(
            ("ohmbath settings show", "every setting"),
            ('ohmbath settings set shop_name "Our shop"', "changes one"),
        ),
    ),
    "safe-keeping": Topic(
        title="Backups, logs and help from outside",
        paragraphs=(
            "Everything is in one data folder; the terminal in which the desk was started names it. The "
            "log of the desk is desk.log in it, that of a broker of its own broker/broker.log, that of a "
            "simulated bench simulated-bench/rig.log. Each line says what to do. Old lines go by "
            "themselves.",
            "A backup is one file, made while the desk works. Keep it on another machine: a stolen or "
            "burnt computer takes its own copies with it. The first page reminds after seven days.",
            "Keys and passwords of brokers are not in a backup. Certificates, readings, runs, register, "
            "people, curves and settings are.",
            "For help from outside, the support file says versions, settings, the end of the log and how "
            "the stations stand, and holds no password, key or customer.",
        ),
        commands=(
            ("ohmbath backup shop.ohmbath", "writes everything into one file"),
            ("ohmbath restore shop.ohmbath --data NEW", "opens it in a new folder"),
            ("ohmbath export support support.zip", "writes what somebody needs to help"),
        ),
    ),
}

#: Topic of a set of pages (a blueprint), or of one page of it by its endpoint.
TOPIC_OF: Mapping[str, str] = {
    "stations": "stations",
    "wall": "wall",
    "runs": "runs",
    "typed": "typed",
    "sign_in": "people",
    "people": "people",
    "audit": "people",
    "in_place": "on-the-vehicle",
    "infrared": "infrared",
    "rounds": "rounds",
    "probe_check": "register",
    "meter_check": "meter-and-box",
    "witness_check": "register",
    "certificates": "certificates",
    "channel": "ohms",
    "labels": "certificates",
    "drafts": "certificates",
    "export": "certificates",
    "verify": "verify",
    "register": "register",
    "curves": "curves",
    "settings": "settings",
    "first_start": "begin",
    "pictures": "runs",
    "pictures.logo_form": "settings",
    "pictures.change_logo": "settings",
    "help": "safe-keeping",
    "student": "exercises",
    "exercises": "exercises",
    "roster": "exercises",
}


def topic_of(endpoint: str | None) -> str | None:
    """Topic of a page; None where nobody has written one."""
    if endpoint is None:
        return None
    return TOPIC_OF.get(endpoint) or TOPIC_OF.get(endpoint.partition(".")[0])
