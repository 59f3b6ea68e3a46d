"""What is named an alkali is one, whatever it is kept as and by whatever door it was written down.

Its kind is stated as an additive, and of which alkali it is nobody says a word.
"""

import pytest
from django.test import Client

from inventory.models.catalog.materials import Material
from tests.form_values import form_of
from tests.recipes.api.calls import VERSION, Caller, fill_shelf, write_recipe
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import counted, imported

NEW = "/shelf/materials/new/"


def by_api(name):
    Caller("owner").made("materials/", {"code": "dust", "name": name, "kind": "additive"})


def by_page(name):
    client = Client()
    client.force_login(person())
    blank = form_of(client.get(NEW).content.decode())
    given = {**blank, "name": name, "kind": "additive"}
    assert client.post(NEW, given).status_code == 303


def by_table(name):
    content = f'code,name,kind\ndust,"{name}",additive\n'
    assert counted(imported("materials", content, by=person()))[0] == "done"


@pytest.mark.parametrize("door", [by_api, by_page, by_table], ids=lambda door: door.__name__)
def test_no_recipe_takes_an_alkali_for_an_additive(database, door):
    fill_shelf()
    maker = Caller("maker")
    code = write_recipe(maker)

    def asked():
        """Of a recipe with a line of what was written down last."""
        material = Material.objects.latest("pk").code
        line = {"material": material, "basis": "of-fats", "amount": "0.01", "stage": "trace"}
        version = {**VERSION, "lines": [*VERSION["lines"], line]}
        return maker.post(f"formulas/{code}/versions/", version)

    names = ("NaOH-pellets", "50 % sodium hydroxide", "Natriumhydroxid", "KOH 90", "1310583")
    for name in (*names, "E 524", "Wood ash lye"):
        door(name)
        refused = asked()
        assert refused.status_code == 422, (name, refused.content)
        found = {(each["code"], each["field"]) for each in refused.json()["errors"]}
        assert ("alkali-as-line", "lines.4") in found
        Material.objects.latest("pk").delete()
    door("Sodium hydroxide-free soda")
    assert asked().status_code == 201
