"""The field of a form for a photograph."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _

from shared import photographs


class PhotoField(forms.FileField):
    """Cleans to shared.photographs.Photograph, or None where no file was chosen."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}))
        super().__init__(**kwargs)

    def clean(self, data: Any, initial: Any = None) -> Any:
        """The photograph made plain; forms.ValidationError says why it cannot be and what to do."""
        if not data:
            return None
        try:
            # By its size first, so that what is too large is not read into memory.
            photographs.refuse_size(data.size)
            return photographs.clean(data.read())
        except photographs.NotAPhotograph as error:
            raise forms.ValidationError(f"{error} {again()}") from None


def again() -> str:
    """What a page cannot do for whoever chose a file."""
    return _("The rest of the page is as you left it; the photograph has to be chosen again.")
