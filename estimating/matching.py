"""Normal forms of names, addresses, phones and words: by them a customer is found, and found twice."""

import re
import unicodedata

# Long and short words of postal addresses; what is short already stands for itself.
SHORT = {
    "street": "st", "avenue": "ave", "av": "ave", "road": "rd", "boulevard": "blvd", "drive": "dr", "lane": "ln",
    "court": "ct", "place": "pl", "square": "sq", "terrace": "ter", "parkway": "pkwy", "highway": "hwy",
    "circle": "cir", "apartment": "apt", "unit": "apt", "suite": "ste", "floor": "fl", "building": "bldg",
    "saint": "st", "mount": "mt", "fort": "ft", "north": "n", "east": "e", "south": "s", "west": "w",
    "northeast": "ne", "northwest": "nw", "southeast": "se", "southwest": "sw",
}  # fmt: skip
A_PHONE = 7  # digits: with fewer, a number may as well be a house number
_APOSTROPHES = re.compile("['’‘ʼ`´]")
_PHONE = re.compile(r"[\d\s()+./-]+")


def fold(text: str) -> str:
    """Words in lower case without accents and punctuation, one blank between them; folding twice changes nothing."""
    text = unicodedata.normalize("NFKD", _APOSTROPHES.sub("", text))
    text = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text.casefold()).casefold())
    text = _APOSTROPHES.sub("", text)  # some letters come apart into an apostrophe and another
    return " ".join("".join(c if c.isalnum() else "" if unicodedata.combining(c) else " " for c in text).split())


def place_key(text: str) -> str:
    """A jurisdiction as it is compared: large and small letters and blanks are alike."""
    return " ".join(text.split()).casefold()


def phone_digits(text: str) -> str:
    """The digits of a phone number without the country's 1; nothing where they are too few to be one."""
    digits = "".join(str(unicodedata.digit(c)) for c in text if unicodedata.category(c) == "Nd")
    digits = digits[1:] if len(digits) == 11 and digits.startswith("1") else digits
    return digits if len(digits) >= A_PHONE else ""


def address_key(text: str) -> str:
    """An address as it is compared: folded, with its usual words shortened; `#4R` is apartment 4R."""
    return " ".join(SHORT.get(word, word) for word in fold(text.replace("#", " apt ")).split())


def name_address_key(name: str, address: str) -> str:
    """Name and address together; nothing where either is missing, since a name alone says too little."""
    name, address = fold(name), address_key(address)
    return f"{name} | {address}" if name and address else ""


def email_key(text: str) -> str:
    """An e-mail address as it is compared."""
    return unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold()).strip()[:300]


def searchable(*texts: str, phones: tuple[str, ...] = ()) -> str:
    """What a record is searched by: every word with a blank before it, and the digits of its phones."""
    words = [fold(text) for text in texts] + [phone_digits(phone) for phone in phones]
    return "".join(f" {word}" for word in " ".join(words).split())


def search_terms(question: str) -> list[str]:
    """What must all stand in `searchable` text: the beginnings of words, or digits of a phone wherever they stand."""
    if _PHONE.fullmatch(question) and (digits := phone_digits(question)):
        return [digits]
    return [f" {word}" for word in fold(question).split()]
