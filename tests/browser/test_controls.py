"""Every control of the page of `metersim explore`, moved once in a real browser."""


def test_every_control_moves_what_it_says(page):
    """Each is moved once and put back; it changes its own setting, or says why it may not."""
    keys = page.js(
        "return [...document.querySelectorAll('.setting[data-key]')].map((one) => one.dataset.key)"
    )
    assert len(keys) == len(set(keys)) > 60
    first, moved, refused = page.settled(), 0, []
    for key in keys:
        root = page.setting(key)
        with page.answered():
            _move_once(page, root, key)
        if root.get_attribute("class").split().count("wrong"):
            refused.append(key)
            assert root.find_element("css selector", ".fault").text
        else:
            moved += 1
        if root.find_elements("css selector", ".was button"):
            page.press(key, "put back")
        page.wait(lambda: not page.every(".wrong"), f"end of the fault of {key}")
        assert "moved" not in root.get_attribute("class").split(), key
    assert moved > 40, refused
    assert page.settled() == first


def _move_once(page, root, key):
    field = page.field(key)
    if field.tag_name == "select":
        options = [
            one.get_attribute("value") for one in field.find_elements("css selector", "option")
        ]
        at = options.index(field.get_attribute("value"))
        field.find_elements("css selector", "option")[at - 1 if at else at + 1].click()
    elif field.get_attribute("type") == "checkbox":
        field.click()
    elif buttons := root.find_elements("css selector", "button.step:not([disabled])"):
        buttons[-1].click()
    else:
        page.type(key, "2")
