"""The way of one drum of oil, by HTTP alone, with a real token as a program would send it."""

from rest_framework.test import APIClient

from tests.inventory.api.calls import g, usd
from tests.studio.web.api.people import person

V1 = "/api/v1/"
INVOICE = {"supplier": "valley", "received_on": "2026-04-07", "invoice": "V-118"}


class Program:
    """Signs in once, then sends its token, and a key of its own with each change."""

    def __init__(self, user):
        self.http = APIClient()
        body = {"username": user.get_username(), "password": "soda ash 12"}
        answer = self.http.post(V1 + "auth/token/", body)
        assert answer.status_code in (200, 201), answer.content
        self.headers = {"Authorization": f"Token {answer.json()['token']}"}

    def post(self, path, body, key):
        headers = {**self.headers, "Idempotency-Key": key}
        return self.http.post(V1 + path, body, headers=headers)

    def get(self, path):
        return self.http.get(V1 + path, headers=self.headers).json()


def test_from_supplier_to_blocked_lot(database):
    program = Program(person("owner"))
    program.post("suppliers/", {"code": "valley", "name": "Valley Press (invented)"}, "1")
    avocado = {"code": "avocado-oil", "name": "Avocado oil", "kind": "fat"}
    program.post("materials/", {**avocado, "density_g_ml": "0.912", "sv_mg_koh_g": "188"}, "2")
    offer = {"code": "valley-drum", "supplier": "valley", "material": "avocado-oil"}
    offer |= {"pack_written": "5 gal", "density_g_ml": "0.915", "price": "210.00"}
    assert program.post("offers/", offer, "3").status_code == 201

    pounds = {"material": "avocado-oil", "written": "35 lb", "price": "175.00"}
    charges = [{"kind": "freight", "amount": "38.50", "basis": "value"}]
    lines = [{"offer": "valley-drum", "supplier_lot": "AV-7"}, pounds]
    body = {**INVOICE, "lines": lines, "charges": charges}
    delivery = program.post("deliveries/", body, "4")
    assert delivery.status_code == 201
    gallons, by_weight = delivery.json()["lines"]
    # 5 gal of 3.785411784 L at 0.915 g/mL; 35 lb of 453.59237 g (NIST Handbook 44, appendix C)
    assert gallons["amount"] == g("17318.2589118") and by_weight["amount"] == g("15875.73295")
    # 38.50 spread over 210 and 175: a tenth of each price
    assert (gallons["landed_cost"], by_weight["landed_cost"]) == (usd("231.00"), usd("192.50"))

    lot = f"lots/{gallons['lot']}/"
    counted = program.post(lot + "count/", {"found": "17 kg", "reason": "left in the pump"}, "5")
    assert counted.json()["expected"] == g("17318.2589118")
    spoiled = program.post(lot + "spoil/", {"amount": "2 L", "reason": "spilled"}, "6").json()
    assert spoiled["on_hand"] == g("15170")  # less 2 L at the offer's own 0.915 g/mL
    blocked = program.post(lot + "block/", {"reason": "off smell"}, "7").json()
    assert blocked["state"] == "blocked"
    assert program.get("stock/avocado-oil/")["on_hand"] == by_weight["amount"]
    verbs = [row["verb"] for row in program.get(f"entries/?lot={gallons['lot']}")["results"]]
    assert verbs == ["spoil", "count", "receive"]
