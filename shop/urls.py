"""Every address of the site. Each one also has its row in shop/access.py."""

from datetime import date

from django.urls import include, path, register_converter

from shop.views import (
    advice,
    around,
    calendar,
    coming_logs,
    corrections,
    due,
    finding,
    front,
    imports,
    isolation,
    jobs,
    keying,
    labels,
    logs,
    minutes,
    needs,
    orders,
    people,
    reading_files,
    rig_drawings,
    rigs,
    round_sheets,
    second_look,
    settings,
    sheet_stack,
    sheets,
    sides,
    spend,
    taking,
    today,
    topup,
    unsettled,
    work,
)


class IsoDate:
    """A day in an address: 2026-03-04."""

    regex = r"\d{4}-\d{2}-\d{2}"

    def to_python(self, value: str) -> date:
        return date.fromisoformat(value)

    def to_url(self, value: date) -> str:
        return value.isoformat()


register_converter(IsoDate, "isodate")

shop_addresses = [
    path("", today.today, name="today"),
    path("due/", due.due, name="due"),
    path("due/picked/", due.due_picked, name="due_picked"),
    path("calendar/", calendar.calendar, name="calendar"),
    path("calendar/<slug:key>.ics", calendar.calendar_feed, name="calendar_feed"),
    path("drawers/", topup.drawers, name="drawers"),
    path("drawers/pick-list.pdf", topup.drawers_file, name="drawers_file"),
    path("drawers/rigs/<int:number>/fill/", topup.top_up, name="top_up"),
    path("drawers/<str:code>/", topup.drawer, name="drawer"),
    path("find/", finding.find_page, name="find"),
    path("go/<slug:kind>/<str:code>/", finding.go, name="go"),
    path("labels/", labels.labels, name="labels"),
    path("labels/labels.pdf", labels.labels_file, name="labels_file"),
    path("labels/test/<slug:sheet>.pdf", labels.labels_trial, name="labels_trial"),
    path("jobs/", jobs.jobs, name="jobs"),
    path("rigs/", rigs.rigs, name="rigs"),
    path("orders/<int:order>/order.pdf", orders.order_pdf, name="order_pdf"),
    path("rigs/round-sheets.pdf", round_sheets.round_sheets, name="round_sheets"),
    path("rigs/<int:number>/", rigs.rig, name="rig"),
    path("rigs/<int:number>/round-sheet.pdf", round_sheets.round_sheet, name="round_sheet"),
    path("rigs/<int:number>/drawing.pdf", rig_drawings.drawing, name="rig_drawing"),
    path("rigs/<int:number>/isolation/", isolation.points, name="isolation"),
    path("rigs/<int:number>/isolation/new/", isolation.new_point, name="new_isolation_point"),
    path("rigs/<int:number>/isolation/<int:pk>/", isolation.point, name="isolation_point"),
    path("rigs/<int:number>/sides/", sides.sides, name="sides"),
    path("rigs/<int:number>/sides/found-work/", sides.side_work, name="side_work"),
    path("rigs/<int:number>/sides/nothing-wrong/", sides.dismiss_side, name="dismiss_side"),
    path("rigs/<int:number>/sides/bring-forward/", sides.side_forward, name="side_forward"),
    path("brought-forward/<int:pk>/take-off/", sides.take_off_forward, name="take_off_forward"),
    path("rigs/<int:number>/logs/", logs.logs, name="logs"),
    path("rigs/<int:number>/logs/<isodate:day>/", logs.log_day, name="log_day"),
    path("logs/sent/<uuid:sending>/", coming_logs.sending, name="sending"),
    path("logs/sent/<uuid:sending>/<int:place>/", coming_logs.coming_log, name="coming_log"),
    path("logs/sent/<uuid:sending>/<int:place>/drop/", coming_logs.drop, name="drop_log"),
    path(
        "logs/sent/<uuid:sending>/<int:place>/layout/",
        coming_logs.keep_layout,
        name="keep_layout",
    ),
    path("logs/contradictions/<int:pk>/", logs.contradiction, name="contradiction"),
    path("logs/files/<int:pk>/", logs.log_file, name="log_file"),
    path("logs/files/<int:pk>/withdraw/", logs.withdraw, name="withdraw_log"),
    path("logs/layouts/", logs.layouts, name="log_layouts"),
    path("logs/layouts/<int:pk>/retire/", logs.retire_layout, name="retire_layout"),
    path("logs/how/", logs.how, name="log_how"),
    path(
        "rigs/<int:number>/readings.<slug:way>", reading_files.readings_file, name="readings_file"
    ),
    path("welcome/", front.welcome, name="welcome"),
    path("sign-in/", front.sign_in, name="sign_in"),
    path("sign-out/", front.sign_out, name="sign_out"),
    path("people/", people.people, name="people"),
    path("people/new/", people.new_person, name="new_person"),
    path("people/<int:pk>/", people.person, name="person"),
    path("import/", imports.imports, name="import"),
    path("import/confirm/", imports.import_confirm, name="import_confirm"),
    path("import/<slug:kind>/template.<slug:way>", imports.import_template, name="import_template"),
    path("shop/", settings.settings, name="settings"),
    path("services/<int:pk>/minutes/", minutes.service_minutes, name="service_minutes"),
    path("services/<int:pk>/parts/", needs.service_parts, name="service_parts"),
    path(
        "services/<int:pk>/parts/<int:need_pk>/drop/",
        needs.drop_service_part,
        name="drop_service_part",
    ),
    path("spend/", spend.spend, name="spend"),
    path("spend/spend.<slug:way>", spend.spend_file, name="spend_file"),
    path("spend/<int:number>/", spend.rig_spend, name="rig_spend"),
    path("spend/shop-stock/", spend.stock_spend, name="stock_spend"),
    path("parts/<str:number>/take/", taking.take_part, name="take_part"),
    path("parts/<str:number>/advice/", advice.advice, name="advice"),
    path("parts/<str:number>/advice/again/", advice.reckon_again, name="reckon_again"),
    path("parts/<str:number>/advice/follow/", advice.follow_advice, name="follow_advice"),
    path("sheets/", sheets.sheets, name="sheets"),
    path("sheets/new/", sheets.draft_sheet, name="draft_sheet"),
    path("sheets/week.pdf", sheet_stack.sheets_pdf, name="sheets_pdf"),
    path("sheets/<int:number>/", sheets.sheet, name="sheet"),
    path("sheets/<int:number>/sheet.pdf", sheets.sheet_pdf, name="sheet_pdf"),
    path("sheets/<int:number>/hand-out/", sheets.hand_out, name="hand_out"),
    path("sheets/<int:number>/keyed/", keying.keyed, name="keyed"),
    path("sheets/<int:number>/correct/", corrections.correct, name="correct_sheet"),
    path("sheets/<int:number>/second-look/", second_look.second_look, name="second_look"),
    path("sheets/<int:number>/void/", sheets.void_sheet, name="void_sheet"),
    path("sheets/<int:number>/reserve/", sheets.reserve_again, name="reserve_again"),
    path("sheets/<int:number>/waiting/", around.wait, name="set_waiting"),
    path("sheets/<int:number>/time/", around.clock, name="clock"),
    path("sheets/<int:number>/until/", around.until, name="until"),
    path("sheets/<int:number>/hand-over/", around.hand_over, name="hand_over"),
    path("sheets/<int:number>/take/", work.take_parts, name="take_parts"),
    path("sheets/<int:number>/used/", work.used, name="used"),
    path("sheets/<int:number>/add-part/", work.add_part, name="add_part"),
    path("sheets/<int:number>/steps/<int:pk>/", work.answer, name="answer"),
    path("unsettled/", unsettled.unsettled, name="unsettled"),
    path("unsettled/<int:pk>/", unsettled.settle, name="settle"),
    path("unsettled/sheets/<int:number>/post/", unsettled.settle_sheet, name="settle_sheet"),
    path("unsettled/answers/<int:pk>/pick/", unsettled.pick_answer, name="pick_answer"),
    path("sheets/<int:number>/lines/<int:order>/note/", work.line_note, name="line_note"),
    path("sheets/<int:number>/photos/", work.sheet_photo, name="sheet_photo"),
    path("sheets/<int:number>/entries/", work.entries, name="entries"),
    path("sheets/<int:number>/work/", work.work, name="work"),
    path("sheets/<int:number>/work/cautions/", work.work_cautions, name="work_cautions"),
    path("sheets/<int:number>/work/checks/<int:order>/", work.work_checks, name="work_checks"),
    path("sheets/<int:number>/work/parts/", work.work_parts, name="work_parts"),
    path("sheets/<int:number>/work/sign/", work.work_sign, name="work_sign"),
]

urlpatterns = [
    path("", include((shop_addresses, "shop"))),
    path("", include("equipment.urls")),
    path("", include("inventory.urls")),
]
