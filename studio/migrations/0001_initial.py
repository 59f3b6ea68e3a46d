import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import studio.first_tables


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('admin', '0003_logentry_add_action_flag_choices'),
        ('auth', '0012_alter_user_first_name_max_length'),
        ('contenttypes', '0002_remove_content_type_name'),
        ('knox', '0009_extend_authtoken_field'),
        ('sessions', '0001_initial'),
    ]

    operations = [
        studio.first_tables.FirstTables(
            tables=[
                migrations.CreateModel(
                    name='Numbering',
                    fields=[
                        ('prefix', models.CharField(max_length=16, primary_key=True, serialize=False)),
                        ('last', models.PositiveBigIntegerField(default=0)),
                    ],
                    options={
                        'indexes': [],
                        'constraints': [],
                    },
                ),
                migrations.CreateModel(
                    name='Membership',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('user', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='membership', to=settings.AUTH_USER_MODEL)),
                        ('role', models.CharField(choices=[('owner', 'Owner'), ('maker', 'Maker'), ('viewer', 'Viewer')], max_length=10)),
                        ('may_see_costs', models.BooleanField(default=False, help_text='Owners always may; others when an owner allows it.')),
                    ],
                    options={
                        'constraints': [models.CheckConstraint(condition=models.Q(('role__in', ['owner', 'maker', 'viewer'])), name='studio_membership_known_role')],
                        'indexes': [],
                    },
                ),
                migrations.CreateModel(
                    name='IdempotencyRecord',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('user', models.ForeignKey(db_index=False, on_delete=django.db.models.deletion.CASCADE, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('key', models.CharField(max_length=200)),
                        ('method', models.CharField(max_length=10)),
                        ('path', models.CharField(help_text='With the query string.', max_length=2000)),
                        ('body_digest', models.CharField(help_text='SHA-256 of the body, in hex.', max_length=64)),
                        ('status', models.PositiveSmallIntegerField()),
                        ('headers', models.JSONField(default=dict)),
                        ('body', models.BinaryField()),
                        ('created_at', models.DateTimeField(auto_now_add=True, db_index=True)),
                    ],
                    options={
                        'constraints': [models.UniqueConstraint(fields=('user', 'key'), name='studio_idempotency_one_answer')],
                        'indexes': [],
                    },
                ),
                migrations.CreateModel(
                    name='ScheduleClaim',
                    fields=[
                        ('name', models.CharField(max_length=200, primary_key=True, serialize=False)),
                        ('period', models.BigIntegerField()),
                        ('milliseconds', models.PositiveBigIntegerField(help_text='How long a period is.')),
                        ('claimed_at', models.DateTimeField()),
                    ],
                    options={
                        'indexes': [],
                        'constraints': [],
                    },
                ),
                migrations.CreateModel(
                    name='ImportRun',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('table', models.CharField(max_length=40)),
                        ('mode', models.CharField(choices=[('create', 'Create'), ('change', 'Change')], max_length=6)),
                        ('dry_run', models.BooleanField(default=False)),
                        ('file_name', models.CharField(blank=True, max_length=200)),
                        ('content', models.BinaryField()),
                        ('state', models.CharField(choices=[('checking', 'Checking'), ('checked', 'Checked'), ('importing', 'Importing'), ('done', 'Done'), ('refused', 'Refused')], default='checking', max_length=9)),
                        ('rows_total', models.PositiveIntegerField(default=0)),
                        ('rows_checked', models.PositiveIntegerField(default=0)),
                        ('created', models.PositiveIntegerField(default=0)),
                        ('changed', models.PositiveIntegerField(default=0)),
                        ('unchanged', models.PositiveIntegerField(default=0)),
                        ('faults', models.JSONField(default=list, help_text='Objects of row, column, code and message.')),
                        ('faults_total', models.PositiveIntegerField(default=0)),
                        ('taken', models.BooleanField(default=False, help_text='A worker has it.')),
                        ('attempts', models.PositiveIntegerField(default=0)),
                        ('lease_until', models.DateTimeField()),
                        ('trouble', models.CharField(blank=True, max_length=200)),
                        ('by', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('created_at', models.DateTimeField()),
                        ('finished_at', models.DateTimeField(blank=True, null=True)),
                    ],
                    options={
                        'ordering': ('-id',),
                        'indexes': [models.Index(condition=models.Q(('finished_at__isnull', True)), fields=['lease_until'], name='studio_import_run_overdue')],
                        'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('finished_at__isnull', True), ('state__in', ['checking', 'checked', 'importing'])), models.Q(('finished_at__isnull', False), ('state__in', ['done', 'refused'])), _connector='OR'), name='studio_import_run_finished_at')],
                    },
                ),
                migrations.CreateModel(
                    name='Preference',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('user', models.OneToOneField(on_delete=django.db.models.deletion.CASCADE, related_name='preference', to=settings.AUTH_USER_MODEL)),
                        ('units', models.CharField(choices=[('metric', 'Metric first (kg, g, mL)'), ('us', 'US customary first (lb, oz, fl oz)')], default='metric', max_length=6)),
                        ('dates', models.CharField(choices=[('iso', '2026-03-09'), ('locale', "As the studio's locale writes it")], default='iso', max_length=6)),
                        ('theme', models.CharField(choices=[('auto', 'As the device says'), ('light', 'Light'), ('dark', 'Dark')], default='auto', max_length=5)),
                    ],
                    options={
                        'constraints': [models.CheckConstraint(condition=models.Q(('units__in', ['metric', 'us']), ('dates__in', ['iso', 'locale']), ('theme__in', ['auto', 'light', 'dark'])), name='studio_preference_known_choices')],
                        'indexes': [],
                    },
                ),
            ],
        ),
    ]
