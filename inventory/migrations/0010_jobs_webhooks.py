"""The rest of alerts of any kind; jobs and webhooks."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('inventory', '0009_alert_causes'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name='Job',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('name', models.CharField(max_length=60)),
                ('arguments', models.JSONField(default=dict)),
                ('state', models.CharField(choices=[('waiting', 'Waiting'), ('running', 'Running'), ('done', 'Done'), ('failed', 'Failed')], default='waiting', max_length=8)),
                ('lease_until', models.DateTimeField()),
                ('attempts', models.PositiveIntegerField(default=0)),
                ('outcome', models.JSONField(default=dict)),
                ('trouble', models.CharField(blank=True, max_length=200)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('finished_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='WebhookDelivery',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('event_id', models.CharField(max_length=80)),
                ('event', models.CharField(max_length=40)),
                ('body', models.TextField()),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('attempts', models.PositiveIntegerField(default=0)),
                ('next_attempt_at', models.DateTimeField()),
                ('claimed_until', models.DateTimeField(blank=True, null=True)),
                ('delivered_at', models.DateTimeField(blank=True, null=True)),
                ('dead_at', models.DateTimeField(blank=True, null=True)),
                ('status', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('trouble', models.CharField(blank=True, max_length=200)),
            ],
            options={
                'verbose_name_plural': 'webhook deliveries',
                'ordering': ['-id'],
            },
        ),
        migrations.CreateModel(
            name='WebhookTarget',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('revision', models.PositiveIntegerField(default=1, editable=False)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('updated_at', models.DateTimeField(auto_now=True)),
                ('code', models.SlugField(max_length=40, unique=True)),
                ('url', models.URLField(max_length=500)),
                ('secret', models.CharField(max_length=120)),
                ('kinds', models.JSONField(blank=True, default=list)),
                ('active', models.BooleanField(default=True)),
                ('note', models.TextField(blank=True, max_length=2000)),
            ],
            options={
                'ordering': ['code'],
            },
        ),
        migrations.RemoveField(
            model_name='alert',
            name='on_hand',
        ),
        migrations.RemoveField(
            model_name='alert',
            name='on_order',
        ),
        migrations.RemoveField(
            model_name='alert',
            name='planned',
        ),
        migrations.RemoveField(
            model_name='alert',
            name='projected',
        ),
        migrations.RemoveField(
            model_name='alert',
            name='reorder_point',
        ),
        migrations.RemoveField(
            model_name='alert',
            name='reserved',
        ),
        migrations.AlterField(
            model_name='alert',
            name='material',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='alerts', to='inventory.material'),
        ),
        migrations.AddIndex(
            model_name='alert',
            index=models.Index(condition=models.Q(('closed_at__isnull', True)), fields=['kind', 'material'], name='open_alert_by_material'),
        ),
        migrations.AddConstraint(
            model_name='alert',
            constraint=models.UniqueConstraint(condition=models.Q(('closed_at__isnull', True)), fields=('kind', 'subject'), name='one_open_alert_per_cause'),
        ),
        migrations.AddField(
            model_name='job',
            name='by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='job',
            name='parent',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='parts', to='inventory.job'),
        ),
        migrations.AddField(
            model_name='webhookdelivery',
            name='target',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='deliveries', to='inventory.webhooktarget'),
        ),
        migrations.AddIndex(
            model_name='job',
            index=models.Index(condition=models.Q(('state__in', ['waiting', 'running'])), fields=['lease_until'], name='job_overdue'),
        ),
        migrations.AddConstraint(
            model_name='job',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('finished_at__isnull', True), ('state__in', ['waiting', 'running'])), models.Q(('finished_at__isnull', False), ('state__in', ['done', 'failed'])), _connector='OR'), name='job_finished_at'),
        ),
        migrations.AddIndex(
            model_name='webhookdelivery',
            index=models.Index(condition=models.Q(('dead_at__isnull', True), ('delivered_at__isnull', True)), fields=['next_attempt_at'], name='webhook_waiting'),
        ),
        migrations.AddConstraint(
            model_name='webhookdelivery',
            constraint=models.UniqueConstraint(fields=('target', 'event_id'), name='one_delivery_per_event_and_target'),
        ),
        migrations.AddConstraint(
            model_name='webhookdelivery',
            constraint=models.CheckConstraint(condition=models.Q(('delivered_at__isnull', True), ('dead_at__isnull', True), _connector='OR'), name='webhook_delivered_or_dead'),
        ),
    ]
