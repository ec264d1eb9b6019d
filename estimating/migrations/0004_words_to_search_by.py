"""Fill the normal forms of customers and jobs that were there before; the forms are those of this migration's day."""

import re
import unicodedata

from django.db import migrations

APOSTROPHES = re.compile("['’‘ʼ`´]")
SHORT = {
    "street": "st", "avenue": "ave", "av": "ave", "road": "rd", "boulevard": "blvd", "drive": "dr", "lane": "ln",
    "court": "ct", "place": "pl", "square": "sq", "terrace": "ter", "parkway": "pkwy", "highway": "hwy",
    "circle": "cir", "apartment": "apt", "unit": "apt", "suite": "ste", "floor": "fl", "building": "bldg",
    "saint": "st", "mount": "mt", "fort": "ft", "north": "n", "east": "e", "south": "s", "west": "w",
    "northeast": "ne", "northwest": "nw", "southeast": "se", "southwest": "sw",
}
BATCH = 500


def fold(text):
    text = unicodedata.normalize("NFKD", APOSTROPHES.sub("", text))
    text = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text.casefold()).casefold())
    text = APOSTROPHES.sub("", text)
    return " ".join("".join(c if c.isalnum() else "" if unicodedata.combining(c) else " " for c in text).split())


def phone_digits(text):
    digits = "".join(str(unicodedata.digit(c)) for c in text if unicodedata.category(c) == "Nd")
    digits = digits[1:] if len(digits) == 11 and digits.startswith("1") else digits
    return digits if len(digits) >= 7 else ""


def words(*texts):
    return "".join(f" {word}" for word in " ".join(texts).split())


def customer(row):
    name, email, phone, address, note = row
    digits = phone_digits(phone)
    place = " ".join(SHORT.get(word, word) for word in fold(address.replace("#", " apt ")).split())
    folded = fold(name)
    return {
        "words": words(*map(fold, (name, email, address, note)), digits),
        "email_key": unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", email).casefold()).strip()[:300],
        "phone_key": digits,
        "name_address_key": f"{folded} | {place}" if folded and place else "",
    }


def job(row):
    return {"words": words(*map(fold, row))}


READ = {
    "Customer": (customer, ("name", "email", "phone", "address", "note")),
    "Job": (job, ("name", "site_address", "jurisdiction", "note")),
}


def fill(apps, schema_editor):
    """Only what is still empty, so that it may be run again; row by row, in batches that hold no long lock."""
    for name, (keys, fields) in READ.items():
        rows = apps.get_model("estimating", name).objects.using(schema_editor.connection.alias)
        last = 0
        while batch := list(rows.filter(pk__gt=last, words="").order_by("pk").values_list("pk", *fields)[:BATCH]):
            for pk, *row in batch:
                rows.filter(pk=pk).update(**keys(row))
            last = batch[-1][0]


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("estimating", "0003_contacts_notes_files")]
    operations = [migrations.RunPython(fill, migrations.RunPython.noop)]
