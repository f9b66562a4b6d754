"""Names that nothing uses: what vulture finds, less what is used where it cannot look. Ends with 1 for one.

Vulture reads Python alone. A name also counts as used where it is in a template, a script, a data file or a
text of the program (settings name classes, queries name columns), or where a framework asks for it.
"""

import ast
import pathlib
import re
import sys

import vulture

ROOT = pathlib.Path(__file__).resolve().parents[1]
SOURCES = [ROOT / "api", ROOT / "syllabus", ROOT / "training", ROOT / "manage.py"]
#: What is called by Django, the REST framework, its description or allauth, by these names.
FRAMEWORK = {
    *(
        "abstract",
        "ordering",
        "indexes",
        "default_auto_field",
        "urlpatterns",
        "app_name",
        "db",
        "label_suffix",
    ),
    *(
        "help_text",
        "use_in_migrations",
        "charset",
        "requires_system_checks",
        "add_arguments",
        "send_messages",
        "beat_scheduler",
    ),
    *("handler400", "handler403", "handler404", "handler500", "site_header", "site_title", "freeze_panes"),
    *(
        "list_display",
        "list_filter",
        "search_fields",
        "fieldsets",
        "add_fieldsets",
        "filter_horizontal",
        "inlines",
    ),
    *("readonly_fields", "has_add_permission", "has_change_permission", "has_delete_permission"),
    *("get_readonly_fields", "get_full_name", "USERNAME_FIELD", "REQUIRED_FIELDS", "first_name", "last_name"),
    *("last_login", "form_valid", "clean_*", "page_size", "allow_request", "permission_classes"),
    *("authentication_classes", "parser_classes", "renderer_classes", "throttle_classes", "metadata_class"),
    *("content_negotiation_class", "accepted_media_type", "target_class", "auto_schema", "get_operation"),
    *("populate_user", "pre_social_login", "on_authentication_error", "get_connect_redirect_url"),
    *("get_security_definition", "is_open_for_signup", "message_context", "reauthenticate", "load_config"),
    *("respond_user_inactive", "send_notification_mail", "generate_authenticator_name", "get_totp_issuer"),
    *("get_public_key_credential_rp_entity", "_called_from_command_line", "_has_been_logged", "handle"),
    *("ShapeDescription", "match_subclasses", "map_serializer", "direction", "list_serializer_class"),
    *("run_validation", "*Config", "TokenScheme", "create_superuser", "collect", "TIME_FORMAT", "pressure"),
    *("process_exception", "process_view", "add_fields", "from_db_value"),
    *("authentication_failed", "_get_login_attempts_cache_key", "data_ready", "murder_pending"),
    *("validate", "get_help_text", "_base_set"),
    *("default_renderer", "form_template_name", "field_template_name", "bound_field_class"),
    *("use_required_attribute", "default_error_messages", "default_validators", "valid_value", "field_order"),
}
#: Called by the tests alone, each file with the reason for its names.
KEPT = {
    # The handbooks' arithmetic, held against their printed examples; no page shows these yet.
    "syllabus/engine/course/maneuvers.py": {
        *(
            "stall_speed_factor",
            "rate_of_turn",
            "radius_of_turn",
            "rate_of_turn_exact",
            "radius_of_turn_exact",
        ),
        *("standard_rate_bank", "standard_rate_radius", "RULES_OF_THUMB", "maneuvering_speed", "hours_for"),
        *("distance_in", "groundspeed", "fuel_for"),
    },
    # What is published of the Sun: night follows from the same altitude, and is held against it in the tests.
    "syllabus/engine/time/sun.py": {
        *("begin_morning", "sunrise", "sunset", "end_evening", "sun_altitude", "civil_twilight"),
    },
    # The parts of a length in the order in which they are added.
    "syllabus/engine/time/calendar.py": {"MONTHS", "CALENDAR_MONTHS", "YEARS"},
    # One of the roles, named in their order.
    "syllabus/engine/rules/rulebook.py": {"KNOWLEDGE_TEST"},
    # What the parsers of HTML and Markdown call on the classes that extend them.
    "training/web/help/library.py": {
        *("handle_data", "handle_endtag", "heading_open", "link_open", "table_open", "table_close", "fence"),
    },
    # The whole-tree form of the proof that the server makes from stored nodes.
    "training/ledger/store/proving.py": {"inclusion"},
    # What a sweep says of itself to whoever runs it by hand.
    "training/services/sweep.py": {"unfinished"},
}
#: What these mark is found by a registry.
REGISTERED = ["@kind", "@kind(*", "@figure", "@figure(*", "@register*", "@admin.register*", "@shared_task*"]
REGISTERED += ["@receiver*", "@*.connect*", "@checks.register*", "@app.*", "@register.*"]
FIELD = re.compile(r"    (\w+ = (Field|\w+Serializer)\(|def find_\w+\(self, )")
WORD = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")


def words_elsewhere() -> set[str]:
    """Every word of the templates, scripts and data, and of the program's texts that are no docstrings."""
    found: set[str] = set()
    for top in SOURCES[:-1]:
        for path in top.rglob("*"):
            if path.suffix in (".html", ".txt", ".js", ".yaml", ".typ", ".xml"):
                found.update(WORD.findall(path.read_text(encoding="utf-8")))
            elif path.suffix == ".py":
                found.update(_words_of(ast.parse(path.read_text(encoding="utf-8"))))
    return found


def _words_of(tree: ast.Module) -> set[str]:
    statements = {id(each.value) for each in ast.walk(tree) if isinstance(each, ast.Expr)}
    return {
        word
        for each in ast.walk(tree)
        if isinstance(each, ast.Constant) and isinstance(each.value, str) and id(each) not in statements
        if " " not in each.value  # a name or a path of names, no sentence
        for word in WORD.findall(each.value)
    }


def main() -> int:
    found = vulture.Vulture(ignore_names=sorted(FRAMEWORK), ignore_decorators=REGISTERED)
    found.scavenge([str(path) for path in SOURCES], exclude=["*/migrations/*"])
    elsewhere = words_elsewhere()
    left = 0
    for each in found.get_unused_code(min_confidence=60):
        place = str(pathlib.Path(each.filename).relative_to(ROOT))
        if each.name in elsewhere or each.name in KEPT.get(place, ()):
            continue
        if place in ("training/config/settings.py", "training/config/sign_in.py") and each.name.isupper():
            continue  # a setting is read by its name
        line = pathlib.Path(each.filename).read_text(encoding="utf-8").splitlines()[each.first_lineno - 1]
        if place.startswith("api/") and FIELD.match(line):
            continue  # a key of a serializer, or what works it out
        print(f"{place}:{each.first_lineno}: unused {each.typ} {each.name}")
        left += 1
    print(f"{left} names that nothing uses")
    return bool(left)


if __name__ == "__main__":
    sys.exit(main())
