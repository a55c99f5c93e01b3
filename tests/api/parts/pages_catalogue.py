"""What a workshop sets up about its work: operations, packages, phrases."""

from typing import Any

from tests.api.forms import Form

TABLE = """
GET    /desk/set-up                               ? ++- -
GET    /desk/operations                           ? ++- -
GET    /desk/new-operation                        ? ++- -
POST   /desk/new-operation                        ? ++- -
GET    /desk/operations/{operation_code}          ? ++- -
POST   /desk/operations/{operation_code}          ? ++- -
POST   /desk/operations/{operation_code}/hide     ? ++- -
POST   /desk/operations/{operation_code}/remove   ? ++- -
GET    /desk/packages                             ? ++- -
GET    /desk/new-package                          ? ++- -
POST   /desk/new-package                          ? ++- -
GET    /desk/packages/{package_code}              ? ++- -
POST   /desk/packages/{package_code}              ? ++- -
POST   /desk/packages/{package_code}/hide         ? ++- -
POST   /desk/packages/{package_code}/remove       ? ++- -
GET    /desk/phrases                              ? ++- -
GET    /desk/new-phrase                           ? ++- -
POST   /desk/new-phrase                           ? ++- -
GET    /desk/phrases/{code}                       ? ++- -
POST   /desk/phrases/{code}                       ? ++- -
POST   /desk/phrases/{code}/hide                  ? ++- -
POST   /desk/phrases/{code}/remove                ? ++- -
"""


def typed(text: str) -> Form:
    """Return a form as a browser sends it."""
    return Form(text.encode(), "application/x-www-form-urlencoded")


BODIES: dict[str, Any] = {
    "POST /desk/new-operation": typed("name=Roof+bars&stage=cleaning&standard_minutes=10"),
    "POST /desk/operations/{operation_code}": typed(
        "name=Roof+box&stage=cleaning&standard_minutes=30&waits=&wait_minutes=0&own_caution="
    ),
    "POST /desk/new-package": typed("name=Winter&operations=vacuum"),
    "POST /desk/packages/{package_code}": typed("name=Holidays&operations=vacuum"),
    "POST /desk/new-phrase": typed(
        "noticed=Sand&weight=for_information&kind=interior&group=inside"
    ),
    "POST /desk/phrases/{code}": typed(
        "noticed=Sand&circumstance=&advice=&weight=for_information&kind=interior&group=inside"
    ),
}
for _list in ("operations/{operation_code}", "packages/{package_code}", "phrases/{code}"):
    BODIES[f"POST /desk/{_list}/hide"] = typed("hidden=yes")
    BODIES[f"POST /desk/{_list}/remove"] = typed("")
