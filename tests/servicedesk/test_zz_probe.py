from datetime import datetime, UTC
import pytest, time_machine, re
from django.urls import reverse
from django.core import mail
from equipment.models import *
from schedules import reminders, due
from schedules.models import *
from tests.factories import *
pytestmark = pytest.mark.django_db
def test_handover_evening(manager):
    with time_machine.travel(datetime(2026,5,13,2,tzinfo=UTC), tick=False):
        r = manager.post("/hand-over/", {"customer":"A","street":"B","kind":"conventional","language":"en","form-TOTAL_FORMS":"1","form-INITIAL_FORMS":"0","form-0-size":"16x25x1","form-0-clean_drop":"0.1","form-0-changed_by":"occupant"}, follow=True)
        s = FilterSlot.objects.get(); print("FITTED", r.status_code, s.fitted_on, Plan.objects.get().due_on, Plan.objects.get().life_began_on, Plan.objects.get().notes)
        print(re.sub(r"\s+"," ",r.text)[r.text.find('class="error"'):][:400] if 'class="error"' in r.text else "")
def test_signin_other_mail(homeowner_user, stranger):
    User.objects.filter(pk=homeowner_user.pk).update(email="account@home.example")
    with time_machine.travel(NOW, tick=False):
        stranger.post("/sign-in/", {"email":"account@home.example"}); reminders.send_one(NOW)
        print("SENT TO", mail.outbox[0].to, mail.outbox[0].extra_headers.get("List-Unsubscribe"))
def test_person_mail_only(homeowner_user, stranger):
    with time_machine.travel(NOW, tick=False):
        stranger.post("/sign-in/", {"email":"robin@home.example"}); print("PERSON ONLY", Notice.objects.count())
def test_stopped(homeowner_user, stranger):
    for t in ("/sheets/","/visits/?page=x","/letters/?page=zz","/due/?page=0&until=nonsense","/due/?sort=zzz","/find/?q=%00","/due/?find=%00","/letters/999999999999999999999/","/filters/999999999999999999999/","/answer/%00/","/calendar/%00.ics","/sites/0/"):
        try:
            c = Client(); from tests.conftest import _signed_in
            u = User.objects.filter(username="m").first() or UserFactory(username="m", role="manager")
            print(t, _signed_in(u).get(t).status_code)
        except Exception as e: print(t, "EXC", type(e), str(e)[:100])
from django.test import Client
