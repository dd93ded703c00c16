"""Photos of a site: taken in, shown to those who may see the site, deleted by the office."""

from django.http import FileResponse, Http404, HttpResponse
from django.utils import timezone

from sites.access import EVERYONE, OFFICE, STAFF, Request, open_to, visible_or_404
from sites.actions.photos import store_photo
from sites.answers import answer_deletion, answer_form, typed
from sites.forms.photos import PhotoForm
from sites.models import Photo, Site
from sites.views.site_pages import site_url


@open_to(*STAFF)
def photo_new(request: Request, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.all(), request.user, pk=pk)
    form = PhotoForm(**typed(request))

    def write() -> None:
        form.instance = store_photo(
            site=site,
            upload=form.cleaned_data["upload"],
            caption=form.cleaned_data["caption"],
            taken_at=timezone.now(),
            by=request.user,
        )

    back_url = site_url(site, "photos")
    return answer_form(
        request,
        form,
        title="New photo",
        lead=str(site),
        back_url=back_url,
        done_url=back_url,
        write=write,
        refused_beside="upload",
    )


@open_to(*EVERYONE)
def photo(request: Request, pk: int) -> FileResponse:
    """The picture itself; a sandbox without rights, so that a file could do nothing even if it were more."""
    row = visible_or_404(Photo.objects.all(), request.user, pk=pk)
    try:
        file = row.image.open("rb")
    except FileNotFoundError as error:
        raise Http404 from error
    response = FileResponse(file, content_type="image/jpeg", filename=f"photo-{row.pk}.jpg")
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response.headers["Cache-Control"] = "private, max-age=86400"
    return response


@open_to(*OFFICE)
def photo_delete(request: Request, pk: int) -> HttpResponse:
    row = visible_or_404(Photo.objects.all(), request.user, pk=pk)
    back_url = site_url(row.site, "photos")
    return answer_deletion(
        request, row, what="photo", back_url=back_url, done_url=back_url, instead="It shows a fault."
    )
