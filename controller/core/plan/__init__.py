"""The settings as the core reads them: frozen, validated, in kept units.

Each key says its unit, its range and whether a change needs a restart. The file the manager writes is read
into these by `controller.settings`; nothing here reads a file.
"""
