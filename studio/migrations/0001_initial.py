import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import studio.foundation.first_tables


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
        studio.foundation.first_tables.FirstTables(
            tables=[
                migrations.CreateModel(
                    name='Digest',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('attempts', models.PositiveIntegerField(default=0)),
                        ('trouble', models.CharField(blank=True, max_length=200)),
                        ('subject', models.CharField(max_length=200)),
                        ('body', models.TextField()),
                        ('created_at', models.DateTimeField(auto_now_add=True)),
                        ('claimed_until', models.DateTimeField(blank=True, null=True)),
                        ('sent_at', models.DateTimeField(blank=True, null=True)),
                        ('recipients', models.JSONField(default=list)),
                    ],
                    options={
                        'ordering': ['id'],
                        'abstract': False,
                        'indexes': [],
                        'constraints': [],
                    },
                ),
                migrations.CreateModel(
                    name='Job',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('attempts', models.PositiveIntegerField(default=0)),
                        ('trouble', models.CharField(blank=True, max_length=200)),
                        ('name', models.CharField(max_length=60)),
                        ('arguments', models.JSONField(default=dict)),
                        ('parent', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='parts', to='studio.job')),
                        ('state', models.CharField(choices=[('waiting', 'Waiting'), ('running', 'Running'), ('done', 'Done'), ('failed', 'Failed')], default='waiting', max_length=8)),
                        ('lease_until', models.DateTimeField()),
                        ('outcome', models.JSONField(default=dict)),
                        ('created_at', models.DateTimeField(auto_now_add=True)),
                        ('finished_at', models.DateTimeField(blank=True, null=True)),
                        ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                    ],
                    options={
                        'ordering': ['-id'],
                        'indexes': [models.Index(condition=models.Q(('state__in', ['waiting', 'running'])), fields=['lease_until'], name='job_overdue')],
                        'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('finished_at__isnull', True), ('state__in', ['waiting', 'running'])), models.Q(('finished_at__isnull', False), ('state__in', ['done', 'failed'])), _connector='OR'), name='job_finished_at')],
                    },
                ),
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
                        ('changed_at', models.DateTimeField(auto_now=True)),
                        ('changed_by', models.ForeignKey(blank=True, db_index=False, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
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
                        ('attempts', models.PositiveIntegerField(default=0)),
                        ('trouble', models.CharField(blank=True, max_length=200)),
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
                        ('lease_until', models.DateTimeField()),
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
                migrations.CreateModel(
                    name='WebhookTarget',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('revision', models.PositiveIntegerField(default=1, editable=False)),
                        ('created_at', models.DateTimeField(auto_now_add=True)),
                        ('updated_at', models.DateTimeField(auto_now=True)),
                        ('changed_by', models.ForeignKey(blank=True, db_index=False, editable=False, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                        ('code', models.SlugField(max_length=40, unique=True)),
                        ('url', models.URLField(max_length=500)),
                        ('secret', models.CharField(max_length=120)),
                        ('kinds', models.JSONField(blank=True, default=list)),
                        ('active', models.BooleanField(default=True)),
                        ('note', models.TextField(blank=True, max_length=2000)),
                    ],
                    options={
                        'ordering': ['code'],
                        'indexes': [],
                        'constraints': [],
                    },
                ),
                migrations.CreateModel(
                    name='WebhookDelivery',
                    fields=[
                        ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                        ('attempts', models.PositiveIntegerField(default=0)),
                        ('trouble', models.CharField(blank=True, max_length=200)),
                        ('target', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='deliveries', to='studio.webhooktarget')),
                        ('event_id', models.CharField(max_length=80)),
                        ('event', models.CharField(max_length=40)),
                        ('body', models.TextField()),
                        ('created_at', models.DateTimeField(auto_now_add=True)),
                        ('next_attempt_at', models.DateTimeField()),
                        ('claimed_until', models.DateTimeField(blank=True, null=True)),
                        ('delivered_at', models.DateTimeField(blank=True, null=True)),
                        ('dead_at', models.DateTimeField(blank=True, null=True)),
                        ('status', models.PositiveSmallIntegerField(blank=True, null=True)),
                    ],
                    options={
                        'verbose_name_plural': 'webhook deliveries',
                        'ordering': ['-id'],
                        'indexes': [models.Index(condition=models.Q(('dead_at__isnull', True), ('delivered_at__isnull', True)), fields=['next_attempt_at'], name='webhook_waiting')],
                        'constraints': [models.UniqueConstraint(fields=('target', 'event_id'), name='one_delivery_per_event_and_target'), models.CheckConstraint(condition=models.Q(('delivered_at__isnull', True), ('dead_at__isnull', True), _connector='OR'), name='webhook_delivered_or_dead')],
                    },
                ),
            ],
        ),
    ]
