"""Every address of the site. Each one also has its row in shop/access.py."""

from django.urls import include, path

from shop.views import (
    due,
    front,
    imports,
    needs,
    people,
    rigs,
    settings,
    sheets,
    spend,
    today,
    work,
)

shop_addresses = [
    path("", today.today, name="today"),
    path("due/", due.due, name="due"),
    path("due/picked/", due.due_picked, name="due_picked"),
    path("rigs/", rigs.rigs, name="rigs"),
    path("rigs/<int:number>/", rigs.rig, name="rig"),
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
    path("sheets/", sheets.sheets, name="sheets"),
    path("sheets/new/", sheets.draft_sheet, name="draft_sheet"),
    path("sheets/<int:number>/", sheets.sheet, name="sheet"),
    path("sheets/<int:number>/sheet.pdf", sheets.sheet_pdf, name="sheet_pdf"),
    path("sheets/<int:number>/hand-out/", sheets.hand_out, name="hand_out"),
    path("sheets/<int:number>/void/", sheets.void_sheet, name="void_sheet"),
    path("sheets/<int:number>/reserve/", sheets.reserve_again, name="reserve_again"),
    path("sheets/<int:number>/waiting/", sheets.set_waiting, name="set_waiting"),
    path("sheets/<int:number>/take/", work.take_parts, name="take_parts"),
    path("sheets/<int:number>/used/", work.used, name="used"),
    path("sheets/<int:number>/add-part/", work.add_part, name="add_part"),
    path("sheets/<int:number>/steps/<int:pk>/", work.answer, name="answer"),
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
