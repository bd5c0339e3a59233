"""A person is forgotten; the building keeps what happened in it, and to whom it was sent is gone."""

from datetime import datetime

from django.conf import settings
from django.contrib.admin.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.db import transaction
from django.utils import translation
from django.utils.translation import gettext as _

from equipment.life import end_roles
from equipment.models import Person, SiteRole, User
from schedules import due, erased_words
from schedules.models import Answer, Notice, Reply, RestedAddress, Rung, Wish


def _nobodys_names() -> frozenset[str]:
    names = set()
    for language, _own in settings.LANGUAGES:
        with translation.override(language):
            names.add(_("erased on request"))
    return frozenset(names)


def is_erased(person: Person) -> bool:
    """Whether nothing of the person is left to be erased."""
    return not person.email and not person.phone and person.name in _nobodys_names()


def _off_the_log(person: Person) -> None:
    """Django's own log of the record's pages names whom it was about."""
    kind = ContentType.objects.get_for_model(Person)
    LogEntry.objects.filter(content_type=kind, object_id=str(person.pk)).update(
        object_repr=_("erased on request"), change_message=""
    )


def erase(person: Person, now: datetime) -> None:
    """Take name, mail, telephone and consent off the record and its history, end the person's part in every
    home, blank their letters, take them out of what was written there, and close their account. What was
    changed, read and visited stays."""
    mail = person.email
    with transaction.atomic():
        erased_words.take_out(person, now)
        nobody = {
            "name": _("erased on request"),
            "email": "",
            "phone": "",
            "text_consent_at": None,
            "text_consent_how": "",
            "text_stopped_at": now,
            "wants_filter_mail": False,
            "wants_visit_mail": False,
            "wants_record_mail": False,
        }
        Person.objects.filter(pk=person.pk).update(**nobody)
        person.history.update(**nobody)
        end_roles(SiteRole.objects.filter(person=person), due.today(now))
        letters = Notice.objects.filter(person=person)
        letters.filter(state=Notice.State.WAITING).update(
            state=Notice.State.NOT_SENT, why=_("erased on request")
        )
        letters.update(sent_to="", subject="", text="", html="")
        # What a mailbox answered names the mailbox.
        letters.exclude(why="").update(why=_("erased on request"))
        Answer.objects.filter(person=person).update(text="")
        Rung.objects.filter(person=person).update(note="", why="")
        _off_the_log(person)
        Wish.objects.filter(person=person).update(wording="")
        if mail and not Person.objects.filter(email__iexact=mail).exists():
            Reply.objects.filter(sender__iexact=mail).update(sender="")
            RestedAddress.objects.filter(email__iexact=mail).delete()
        for user in User.objects.filter(person=person):
            user.username, user.email, user.first_name, user.last_name = f"erased-{user.pk}", "", "", ""
            user.is_active = False
            user.set_unusable_password()
            user.save()
