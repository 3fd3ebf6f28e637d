"""The addresses of the pages for managers."""

from django.urls import URLPattern, path

from firings.pages import (
    kiln_health,
    kiln_keys,
    kiln_pages,
    kiln_service,
    kiln_setup,
    kiln_topics,
    kiln_watch,
    meter_files,
    policy,
    ware_palette,
)

urlpatterns: list[URLPattern] = [
    path("kilns/", kiln_pages.kilns, name="kilns"),
    path("kilns/new/", kiln_setup.add, name="add_kiln"),
    path("kilns/<int:pk>/", kiln_pages.kiln, name="kiln"),
    path("kilns/<int:pk>/health/", kiln_health.health, name="kiln_health"),
    path("kilns/<int:pk>/edit/", kiln_setup.edit, name="edit_kiln"),
    path("kilns/<int:pk>/shelves/", kiln_setup.shelves, name="kiln_shelves"),
    path("kilns/<int:pk>/watch/", kiln_watch.edit_watch, name="kiln_watch"),
    path("kilns/<int:pk>/out/", kiln_service.take_out, name="kiln_out"),
    path("kilns/<int:pk>/return/", kiln_service.bring_back, name="kiln_return"),
    path("kilns/<int:pk>/parts/new/", kiln_service.new_part, name="add_part"),
    path("kilns/parts/<int:pk>/replace/", kiln_service.replace, name="replace_part"),
    path("kilns/<int:pk>/keys/new/", kiln_keys.new_key, name="new_kiln_key"),
    path("kilns/keys/<int:pk>/revoke/", kiln_keys.revoke_key, name="revoke_kiln_key"),
    path("kilns/<int:pk>/meter/", meter_files.meter_files, name="meter_files"),
    path("kilns/<int:pk>/topics/", kiln_topics.topics, name="kiln_topics"),
    path("kilns/topics/<int:pk>/drop/", kiln_topics.drop, name="drop_kiln_topic"),
    path("palette/", ware_palette.palette, name="palette"),
    path("palette/clays/new/", ware_palette.clay, name="new_clay"),
    path("palette/clays/<int:pk>/", ware_palette.clay, name="clay"),
    path("palette/glazes/new/", ware_palette.glaze, name="new_glaze"),
    path("palette/glazes/<int:pk>/", ware_palette.glaze, name="glaze"),
    path("palette/sizes/new/", ware_palette.size, name="new_size"),
    path("palette/sizes/<int:pk>/", ware_palette.size, name="size"),
    path("firing-rules/", policy.policy, name="policy"),
]
