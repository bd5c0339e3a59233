def desk(request):
    return {}
