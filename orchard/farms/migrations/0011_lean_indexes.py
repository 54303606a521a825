from django.db import migrations

from orchard.farms import lean_indexes


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("farms", "0010_audit_by_transaction")]
    operations = lean_indexes.without_farm_index(
        "farms",
        "auditentry",
        "calendarfeed",
        "change",
        "membership",
        "outboxevent",
        "token",
        "webhook",
        "webhookdelivery",
    )
