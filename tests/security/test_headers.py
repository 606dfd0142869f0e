"""What every answer carries and what none does. OWASP ASVS 5.0: 3.4, 13.4, 14.2.1, 16.4.1, 16.5.1."""

import pytest

PATHS = [
    "/healthz",
    "/v1/vehicles",
    "/docs",
    "/openapi.json",
    "/no-such-page",
    "/v1/no-such",
    "/",
    "/static/none",
]


@pytest.mark.parametrize("path", PATHS)
def test_every_answer_keeps_the_browser_on_its_guard(operator, path):
    answer = operator.get(path, follow_redirects=False)
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    policy = answer.headers["Content-Security-Policy"]
    assert "frame-ancestors 'none'" in policy
    assert "unsafe-inline" not in policy
    assert "Server" not in answer.headers
    assert answer.headers["X-Request-ID"]
    assert "Access-Control-Allow-Origin" not in answer.headers


def test_another_site_is_given_no_leave(client):
    headers = {"Origin": "https://elsewhere.example", "Access-Control-Request-Method": "POST"}
    answer = client.options("/v1/vehicles", headers=headers)
    assert "Access-Control-Allow-Origin" not in answer.headers
    assert answer.status_code == 405


@pytest.mark.parametrize("method", ["TRACE", "OPTIONS", "PROPFIND", "CONNECT", "X"])
def test_methods_that_nobody_offered_are_refused(operator, operations, method):
    wrong = []
    for path in sorted({operation.path for operation in operations.values()}):
        answer = operator.client.request(method, path.replace("{", "").replace("}", ""))
        if (answer.status_code, answer.headers["content-type"]) != (405, "application/problem+json"):
            wrong.append(f"{path}: {answer.status_code}")
        elif not answer.headers.get("Allow"):
            wrong.append(f"{path}: no Allow")
    assert wrong == []


def test_allow_names_every_method_that_a_path_takes(operator, operations):
    """RFC 9110, 10.2.1; HEAD wherever GET is: 9.1."""
    wrong = []
    for path in sorted({operation.path for operation in operations.values()}):
        offered = {one.method.upper() for one in operations.values() if one.path == path}
        answer = operator.client.request("TRACE", path.replace("{", "").replace("}", ""))
        allowed = {name.strip() for name in answer.headers.get("Allow", "").split(",")}
        offered |= {"HEAD"} if "GET" in offered else set()
        if not offered <= allowed:
            wrong.append(f"{path}: {sorted(offered - allowed)} missing")
    assert wrong == []


def test_head_tells_what_get_would_without_the_body(operator, operations):
    """RFC 9110, 9.3.2: monitors, caches and link checkers ask so."""
    wrong = []
    for path in sorted(one.path for one in operations.values() if one.method.upper() == "GET"):
        plain = path.replace("{", "").replace("}", "")
        head, get = operator.client.head(plain, headers=operator.headers), operator.get(plain)
        told = [(one.status_code, one.headers["content-type"]) for one in (head, get)]
        if told[0] != told[1] or head.content:
            wrong.append(f"{path}: {told}, {len(head.content)} bytes")
    assert wrong == []


@pytest.mark.parametrize("path", ["/healthz", "/", "/docs", "/static/none", "/no-such-page"])
def test_pages_answer_head_too(operator, path):
    head, get = operator.client.head(path), operator.client.get(path)
    assert (head.status_code, head.content) == (get.status_code, b"")


def test_a_given_request_id_is_kept_only_if_it_is_sound(operator):
    assert (
        operator.get("/healthz", headers={"X-Request-ID": "abcd-1234"}).headers["X-Request-ID"] == "abcd-1234"
    )
    strange = operator.get("/healthz", headers={"X-Request-ID": "a b<c>" * 40}).headers["X-Request-ID"]
    assert strange.isalnum()


def test_wrong_secrets_are_slowed_down(operator):
    """OWASP ASVS 5.0, 6.3.1: guessing is refused by the twentieth try, with a time to wait."""
    statuses = []
    for number in range(20):
        answer = operator.client.get("/v1/vehicles", headers={"Authorization": f"Bearer guess-{number}"})
        statuses.append(answer.status_code)
    assert statuses[0] == 401
    assert statuses[-1] == 429
    assert int(answer.headers["Retry-After"]) > 0


def test_whose_secret_is_right_pays_for_nobody_s_guesses(operator, join):
    """A gateway with an old secret shares its address with everybody behind the same proxy or router."""
    other = join("Another")
    assert operator.get("/v1/vehicles").status_code == 200
    for number in range(20):
        guess = operator.client.get("/v1/vehicles", headers={"Authorization": f"Bearer guess-{number}"})
    assert guess.status_code == 429
    assert operator.get("/v1/vehicles").status_code == 200
    assert other.get("/v1/vehicles").status_code == 200, "though nobody has seen it before"
    assert operator.client.get("/v1/vehicles").status_code == 401, "no secret is no guess"
    token = next(one["id"] for one in operator.get("/v1/tokens").json()["tokens"])
    assert operator.delete(f"/v1/tokens/{token}").status_code == 204
    assert operator.get("/v1/vehicles").status_code == 429


@pytest.mark.parametrize("path", ["/v1/vehicles/", "/vehicles/", "/v1/vehicles/VAN-1/"])
def test_no_answer_leads_to_a_host_that_the_sender_named(operator, path):
    answer = operator.get(path, headers={"Host": "elsewhere.example"}, follow_redirects=False)
    assert "elsewhere" not in answer.headers.get("Location", "")
    assert answer.status_code == 404
