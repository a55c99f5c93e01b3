"""placeholder"""
from django.http import HttpRequest, HttpResponse
def live(request: HttpRequest) -> HttpResponse: return HttpResponse()
ready = metrics = live
