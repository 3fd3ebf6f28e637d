"""Readings by hand and from a log file: looked at first, taken in whole or not at all."""

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from firings.models import FiringState, LogLayout, Reading
from tests import scene
from tests.firings.pages.crew_scene import client_of


@pytest.fixture
def firing(way):
    return way.started(hours_ago=5)


@pytest.fixture
def url(firing):
    return f"/firings/{firing.pk}/"


def log_text(firing, *, lines=5, step_minutes=10, delimiter=","):
    """A logger's file in Fahrenheit: 68, 104, 140 ... F, which is 20, 40, 60 ... C."""
    rows = [delimiter.join(("time", "temp F", "set point F", "power kW"))]
    for number in range(lines):
        at = firing.started_at + timedelta(minutes=step_minutes * number)
        stamp = at.strftime("%Y-%m-%d %H:%M:%SZ")
        rows.append(delimiter.join((stamp, str(68 + 36 * number), str(70 + 36 * number), "2.5")))
    return "\n".join(rows) + "\n"


def send(client, url, content, name="kiln.csv"):
    if isinstance(content, str):
        content = content.encode()
    return client.post(f"{url}log/", {"log": SimpleUploadedFile(name, content)})


def answers(form):
    """What a browser sends for a form as it is shown."""
    return {
        bound.html_name: "" if bound.value() is None else bound.value()
        for bound in form
        if bound.html_name not in ("allow_disorder", "started_at", "cold_junction_c")
    }


def test_a_reading_typed_in_fahrenheit_is_kept_in_celsius(crew_client, firing, url):
    at = timezone.now().strftime("%Y-%m-%dT%H:%M")
    typed = {"temp_c": "1112", "temp_c_unit": "F", "at": at, "register_wh": "12.5"}
    assert crew_client.post(f"{url}readings/", typed).status_code == 303
    reading = Reading.objects.get()
    # (1112 - 32) / 1.8 = 600: NIST SP 811, B.8
    assert (reading.temp_c, reading.register_wh, reading.source) == (600.0, 12_500, "hand")


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"at": "2020-01-01T10:00"}, "before the start"),
        ({"temp_c": "5000"}, "must be at most 1500"),
        ({"temp_c": ""}, "This field is required"),
        ({"temp_c_unit": "K"}, "Choose the unit from the list"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(crew_client, firing, url, changed, message):
    at = timezone.now().strftime("%Y-%m-%dT%H:%M")
    answer = crew_client.post(
        f"{url}readings/", {"temp_c": "600", "temp_c_unit": "C", "at": at, **changed}
    )
    assert answer.status_code in (400, 422)
    assert message in answer.content.decode()
    assert not Reading.objects.exists()


def test_a_hand_reading_at_the_limit_says_that_a_cooling_kiln_is_there(way, crew_client):
    firing = way.cooling()
    firing.readings.update(source="hand")  # no logger says otherwise
    # Whole seconds are typed: one more, so that it is newer than the log's last reading.
    at = (timezone.now() + timedelta(seconds=1)).strftime("%Y-%m-%dT%H:%M:%S")
    typed = {"temp_c": "50", "temp_c_unit": "C", "at": at}
    crew_client.post(f"/firings/{firing.pk}/readings/", typed)
    firing.refresh_from_db()
    assert firing.state == FiringState.COOLED


def test_a_log_is_looked_at_first_and_then_taken_in(crew_client, firing, url):
    answer = send(crew_client, url, log_text(firing))
    assert answer.status_code == 303
    assert not Reading.objects.exists()
    looked_at = crew_client.get(answer["Location"])
    page = looked_at.content.decode()
    assert "5 lines with readings." in page
    form = looked_at.context["form"]
    guesses = [(guess.role, guess.unit) for guess, _, _ in form.columns()]
    assert guesses == [("time", "iso"), ("temp", "F"), ("set_point", "F"), ("power", "kW")]
    assert not Reading.objects.exists()
    taken_in = crew_client.post(answer["Location"], answers(form), follow=True)
    assert "5 readings are taken in." in taken_in.content.decode()
    temps = list(Reading.objects.values_list("temp_c", flat=True))
    assert temps == pytest.approx([20, 40, 60, 80, 100])
    assert set(Reading.objects.values_list("power_w", "source")) == {(2500.0, "file")}
    # What was kept is forgotten once it is taken in.
    assert crew_client.get(answer["Location"]).status_code == 404


def test_the_same_file_twice_changes_nothing(crew_client, firing, url):
    for _ in range(2):
        place = send(crew_client, url, log_text(firing))["Location"]
        form = crew_client.get(place).context["form"]
        page = crew_client.post(place, answers(form), follow=True).content.decode()
    assert "0 readings are taken in. 5 were known already." in page
    assert Reading.objects.count() == 5


def test_a_guess_is_put_right_by_hand(crew_client, firing, url):
    place = send(crew_client, url, log_text(firing))["Location"]
    sent = answers(crew_client.get(place).context["form"])
    sent |= {"role_2": "zone2", "unit_2": "F", "role_3": "unused"}
    assert crew_client.post(place, sent).status_code == 303
    reading = Reading.objects.first()
    assert reading.zone2_c == pytest.approx((70 - 32) / 1.8)
    assert (reading.set_point_c, reading.power_w) == (None, None)


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"role_0": "unused"}, "Say which column holds the time"),
        ({"role_1": "unused"}, "Say which column holds the temperature"),
        ({"role_2": "temp"}, "holds it already"),
        ({"unit_1": "kWh"}, "Choose one of: °C, °F, mV"),
        ({"role_1": "colour"}, "Select a valid choice"),
    ],
)
def test_a_mapping_that_cannot_be_is_told(crew_client, firing, url, changed, message):
    place = send(crew_client, url, log_text(firing))["Location"]
    sent = answers(crew_client.get(place).context["form"]) | changed
    answer = crew_client.post(place, sent)
    assert answer.status_code == 422
    assert message in answer.content.decode()
    assert not Reading.objects.exists()


def test_a_faulty_line_is_named_and_nothing_is_stored(crew_client, firing, url):
    lines = log_text(firing, lines=6).splitlines()
    lines[3] = lines[3].replace("140", "hot")
    place = send(crew_client, url, "\n".join(lines))["Location"]
    answer = crew_client.post(place, answers(crew_client.get(place).context["form"]))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Line 4:" in page
    assert "hot" in page
    assert not Reading.objects.exists()


def test_a_log_of_another_day_is_refused_whole(crew_client, firing, url):
    text = log_text(firing).replace(firing.started_at.strftime("%Y-"), "2020-")
    place = send(crew_client, url, text)["Location"]
    answer = crew_client.post(place, answers(crew_client.get(place).context["form"]))
    assert answer.status_code == 400
    assert "before the start of this firing" in answer.content.decode()
    assert not Reading.objects.exists()


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "This file is empty"),
        (b"\n\n", "The file is empty"),
        (b"PK\x03\x04 sheet", "This is a spreadsheet or an archive"),
        (b"time,temp\n\0\0\0,1\n", "This is not a text file"),
    ],
)
def test_what_is_no_log_is_told_at_once(crew_client, url, content, message):
    answer = send(crew_client, url, content)
    assert answer.status_code == 422
    assert message in answer.content.decode()


def test_a_file_above_120_mb_is_refused_in_words(crew_client, url, monkeypatch):
    monkeypatch.setattr("firings.pages.readings_upload.MAX_LOG_BYTES", 2 * 1024**2)
    answer = send(crew_client, url, b"2026-01-01 10:00,20\n" * 110_000)
    assert answer.status_code == 422
    assert "at most 2 MB can be read" in answer.content.decode()


def test_a_wrong_cut_is_put_right_by_hand(crew_client, firing, url):
    at = firing.started_at.strftime("%d.%m.%Y %H:%M:%S")
    # A comma in each number makes more cells of a line than the strokes do.
    text = f"when|temp C|set point C|power W\n{at}|20,5|30,5|100,0\n"
    place = send(crew_client, url, text)["Location"]
    seen = crew_client.get(place, {"delimiter": "stroke"})
    form = seen.context["form"]
    assert [guess.title for guess, _, _ in form.columns()] == [
        "when",
        "temp C",
        "set point C",
        "power W",
    ]
    assert form["decimal_mark"].value() == ","
    answer = crew_client.post(f"{place}?delimiter=stroke", answers(form))
    assert answer.status_code == 303
    assert Reading.objects.get().temp_c == 20.5


def test_the_columns_are_remembered_for_the_kiln(crew_client, firing, url):
    place = send(crew_client, url, log_text(firing))["Location"]
    sent = answers(crew_client.get(place).context["form"])
    crew_client.post(place, sent | {"role_2": "zone2", "unit_2": "F", "role_3": "unused"})
    layout = firing.kiln.log_layout
    assert layout.confirmed_by == firing.started_by
    place = send(crew_client, url, log_text(firing, lines=8))["Location"]
    looked_at = crew_client.get(place)
    assert "read as that one was" in looked_at.content.decode()
    form = looked_at.context["form"]
    assert [form[f"role_{n}"].value() for n in range(4)] == ["time", "temp", "zone2", "unused"]
    # Other titles are another logger: its columns are guessed.
    other = send(crew_client, url, log_text(firing, lines=3).replace("power kW", "load kW"))
    form = crew_client.get(other["Location"]).context["form"]
    assert form["role_2"].value() == "set_point"


def test_a_faulty_file_is_not_remembered(crew_client, firing, url):
    place = send(crew_client, url, log_text(firing).replace("140", "hot"))["Location"]
    crew_client.post(place, answers(crew_client.get(place).context["form"]))
    assert not LogLayout.objects.exists()


def test_millivolts_are_read_by_the_type_of_the_kilns_thermocouple(crew_client, firing, url):
    firing.kiln.thermocouple_type = "S"
    firing.kiln.save()
    rows = [
        f"{firing.started_at + timedelta(minutes=n):%Y-%m-%dT%H:%M:%SZ},{emf}"
        for n, emf in enumerate(("0.000", "10.000"))
    ]
    place = send(crew_client, url, "time,tc mV\n" + "\n".join(rows))["Location"]
    form = crew_client.get(place).context["form"]
    assert form["unit_1"].value() == "mV S"
    without = crew_client.post(place, answers(form))
    assert "choose the column of the cold junction" in without.content.decode()
    sent = answers(form) | {"cold_junction_c": "32", "cold_junction_c_unit": "F"}
    assert crew_client.post(place, sent).status_code == 303
    # NIST Monograph 175: type S, 10.000 mV is 1035.61 C with the terminal at 0 C, 32 F.
    temps = list(Reading.objects.values_list("temp_c", flat=True))
    assert temps == pytest.approx([0, 1035.61], abs=0.01)


def test_another_persons_upload_is_not_found(way, crew_client, firing, url):
    place = send(crew_client, url, log_text(firing))["Location"]
    other = client_of(scene.crew("Anouk"))
    answer = other.get(place)
    assert answer.status_code == 404
    assert "Send the file again" in answer.content.decode()


def test_only_crew_send_readings(way, url):
    for person in (way.member, scene.manager("Mika"), scene.treasurer()):
        client = client_of(person)
        assert client.get(f"{url}readings/").status_code == 403
        assert client.get(f"{url}log/").status_code == 403


def test_a_firing_that_has_not_started_has_no_log(way, crew_client):
    answer = crew_client.get(f"/firings/{way.planned().pk}/log/")
    assert answer.status_code == 409
    assert "has not started" in answer.content.decode()
