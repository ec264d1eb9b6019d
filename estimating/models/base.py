"""Two kinds of record: one that people change, with a version, and one that is written once and stays."""

from typing import Any

from django.db import models


class Versioned(models.Model):
    """A record that counts its changes, so that two people who change it at once are told.

    Read the row under a lock before changing it (`service.preconditions.locked`); `save` adds one to the version.
    """

    version = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            self.version += 1
            if (fields := kwargs.get("update_fields")) is not None:
                kwargs["update_fields"] = {*fields, "version"}
        super().save(*args, **kwargs)


class RecordIsFinal(Exception):
    """What was issued stays as it is; a correction is a new row that points at the old one."""


class AppendOnly(models.Model):
    """A record that is inserted once and then neither changed nor deleted.

    `save` and `delete` refuse here; a trigger in the database refuses whatever goes round them
    (`service.append_only`). A record that is final only from some moment on says so in SQL: `frozen_when` about the
    row as it stands (`OLD.approved_at IS NOT NULL`), `closed_when` about a row to be written (`NEW`), such as a line
    put under an approved list; such a model overrides `is_final` to match. A record with a person's words in it names
    them in `erasable`: they can be blanked, once and together with setting `erased_at`, and nothing else with them.
    """

    frozen_when: str = ""
    closed_when: str = ""
    erasable: tuple[str, ...] = ()

    class Meta:
        abstract = True

    def is_final(self) -> bool:
        """Whether the row as it stands in the database may still be changed."""
        return not self._state.adding

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.is_final():
            raise RecordIsFinal(f"{self._meta.verbose_name} {self.pk} is final; write a new one that points at it")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> Any:
        if self.is_final():
            raise RecordIsFinal(f"{self._meta.verbose_name} {self.pk} is final and cannot be deleted")
        return super().delete(*args, **kwargs)
