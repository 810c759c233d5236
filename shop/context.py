def page(request):
    return {}
