"""Addresses of the pages."""

from __future__ import annotations

from django.urls import path

from chirr.pages.views import ahead, book, breeders, farm, grade, laying, people, racks, setup, sign, trays, trials
from chirr.pages.views import round as round_

urlpatterns = [
    path("", sign.home, name="home"),
    path("sign-in", sign.sign_in, name="sign-in"),
    path("sign-out", sign.sign_out, name="sign-out"),
    path("me", sign.me, name="me"),
    path("look", sign.look, name="look"),
    path("set-up", setup.set_up, name="set-up"),
    path("set-up/drawing", setup.drawing, name="set-up-drawing"),
    path("round", round_.sheet, name="round"),
    path("round/do", round_.do, name="round-do"),
    path("round/undo", round_.undo, name="round-undo"),
    path("round/clock", round_.clock, name="round-clock"),
    path("racks", racks.racks, name="racks"),
    path("bins/<path:name>", racks.bin_page, name="bin"),
    path("lots/<path:name>", racks.lot_page, name="lot"),
    path("clutches/<path:name>", racks.clutch_page, name="clutch"),
    path("why/<str:kind>/<path:name>", racks.why, name="why"),
    path("ahead", ahead.ahead, name="ahead"),
    path("ahead/promise", ahead.promise, name="promise"),
    path("ahead/breeders", breeders.breeders, name="breeders"),
    path("ahead/grade", grade.grade, name="grade"),
    path("trays", trays.trays, name="trays"),
    path("trays/laying", laying.laying, name="laying"),
    path("trials", trials.trials, name="trials"),
    path("trials/<path:name>", trials.trial, name="trial"),
    path("book", book.book, name="book"),
    path("book/add", book.add, name="add"),
    path("book/export", book.export, name="book-export"),
    path("book/<str:entry_id>", book.entry, name="entry"),
    path("book/<str:entry_id>/correct", book.correct, name="correct"),
    path("book/<str:entry_id>/replace", book.replace, name="replace"),
    path("farm", farm.farm, name="farm"),
    path("farm/card", farm.card, name="farm-card"),
    path("farm/size-classes", farm.size_classes, name="farm-size-classes"),
    path("farm/rooms/", farm.room, name="farm-room-new"),
    path("farm/rooms/<path:name>", farm.room, name="farm-room"),
    path("farm/bins/", farm.bin_, name="farm-bin-new"),
    path("farm/bins/<path:name>", farm.bin_, name="farm-bin"),
    path("farm/tray-types/", farm.tray_type, name="farm-tray-type-new"),
    path("farm/tray-types/<path:name>", farm.tray_type, name="farm-tray-type"),
    path("farm/people/", people.person, name="farm-person-new"),
    path("farm/people/<path:name>", people.person, name="farm-person"),
    path("cautions", farm.cautions, name="cautions"),
]
