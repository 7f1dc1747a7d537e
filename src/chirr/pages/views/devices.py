"""Several people on one phone: coming in by PIN, one's own PIN, and the owner's list of devices."""

from __future__ import annotations

import time

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from chirr.desk import devices as desk
from chirr.desk import people
from chirr.desk.forms import FormFaults
from chirr.desk.spoken import say
from chirr.pages import entering
from chirr.pages.access import OPEN, OWN, OWNER, actor, door
from chirr.pages.views.sign import safe_next


@door(OPEN)
@require_http_methods(["GET", "POST"])
def switch(request: HttpRequest) -> HttpResponse:
    """Type the PIN, tap the name: the next person is in, on the page where the last one was.

    Where nobody else can come in, this leads on to one's own page.
    """
    device, here = entering.device_of(request), getattr(request, "person", None)
    offered = entering.others(device, here)
    fault = ""
    if request.method == "POST" and device is not None:
        name = request.POST.get("person", "")
        try:
            entering.let_in_by_pin(request, device, name, request.POST.get("pin", ""))
        except desk.PinRefused as why:
            fault, offered = str(why), entering.others(device, here)
        else:
            return redirect(safe_next(request))
    elif not offered:
        return redirect("sign-in" if here is None else "me")
    context = {"offered": offered, "fault": fault, "next": safe_next(request, "")}
    return render(request, "chirr/switch.html", context, status=422 if fault else 200)


@door(OWN)
@require_POST
def pin(request: HttpRequest) -> HttpResponse:
    """One's own PIN, set with the password, or taken away."""
    if request.POST.get("do") == "drop":
        desk.drop_pin(actor(request))
        messages.success(request, say("Your PIN is gone; you come in with the password."))
        return redirect("me")
    password, new, again = (request.POST.get(name, "") for name in ("pin_password", "pin", "pin_again"))
    try:
        people.check_own_password(
            request.user,
            password,
            field="pin_password",
            address=request.META.get("REMOTE_ADDR", ""),
            now=int(time.time()),
        )
        desk.set_pin(actor(request), new, again)
    except FormFaults as wrong:
        return render(request, "chirr/me.html", {"faults": wrong.faults, **entering.of_me(request)}, status=422)
    messages.success(
        request, say("Your PIN is kept. It counts on each device on which you sign in with the password once.")
    )
    return redirect("me")


@door(OWNER)
@require_http_methods(["GET", "POST"])
def devices(request: HttpRequest) -> HttpResponse:
    """All devices with their last contact; one can be renamed, or ended."""
    fault = ""
    if request.method == "POST":
        which = request.POST.get("device", "")
        try:
            if request.POST.get("do") == "end":
                name = desk.end(which, actor=actor(request), now=int(time.time()))
                messages.success(
                    request, say("{name} is ended: nobody is signed in on it now, and no PIN counts there.", name=name)
                )
            else:
                desk.rename(which, request.POST.get("name", ""), actor=actor(request))
            return redirect("farm-devices")
        except LookupError as missing:
            raise Http404(str(missing)) from missing
        except FormFaults as wrong:
            fault = str(wrong)
    here = entering.device_of(request)
    context = {"devices": desk.everything(actor=actor(request)), "here": here.id if here else "", "fault": fault}
    return render(request, "chirr/devices.html", context, status=422 if fault else 200)
