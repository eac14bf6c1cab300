"""Ground floor: physics, eggs, profiles, bands, rules, alarms and wording. It only answers; it reads and writes nothing."""
