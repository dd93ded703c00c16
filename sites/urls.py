from django.urls import path

from sites.views import clients, people, photos, plant, site_pages, site_state, zone_water

app_name = "sites"
urlpatterns = [
    path("sites/", site_pages.site_list, name="site_list"),
    path("sites/new/", site_pages.site_new, name="site_new"),
    path("sites/<int:pk>/", site_pages.site_page, name="site_page"),
    path("sites/<int:pk>/edit/", site_pages.site_edit, name="site_edit"),
    path("sites/<int:pk>/archive/", site_pages.site_archive, name="site_archive"),
    path("sites/<int:pk>/delete/", site_pages.site_delete, name="site_delete"),
    path("sites/<int:pk>/state/", site_state.site_state, name="site_state"),
    path("state-changes/<int:pk>/withdraw/", site_state.state_change_withdraw, name="state_change_withdraw"),
    path("sites/<int:pk>/water-and-pressure/", zone_water.zone_water, name="zone_water"),
    path("sites/<int:pk>/photos/new/", photos.photo_new, name="photo_new"),
    path("photos/<int:pk>/", photos.photo, name="photo"),
    path("photos/<int:pk>/delete/", photos.photo_delete, name="photo_delete"),
    *plant.urlpatterns,
    path("clients/", clients.client_list, name="client_list"),
    path("clients/new/", clients.client_new, name="client_new"),
    path("clients/<int:pk>/", clients.client_page, name="client_page"),
    path("clients/<int:pk>/edit/", clients.client_edit, name="client_edit"),
    path("clients/<int:pk>/archive/", clients.client_archive, name="client_archive"),
    path("tariffs/", clients.tariff_list, name="tariff_list"),
    path("tariffs/new/", clients.tariff_new, name="tariff_new"),
    path("tariffs/<int:pk>/edit/", clients.tariff_edit, name="tariff_edit"),
    path("tariffs/<int:pk>/delete/", clients.tariff_delete, name="tariff_delete"),
    path("people/", people.person_list, name="person_list"),
    path("people/new/", people.person_new, name="person_new"),
    path("people/<int:pk>/edit/", people.person_edit, name="person_edit"),
    path("password/", people.own_password, name="own_password"),
    path("firm/", people.firm_edit, name="firm_edit"),
]
