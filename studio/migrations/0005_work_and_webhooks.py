import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        # The names of indexes are free only then.
        ('inventory', '0012_work_leaves'),
        ('studio', '0004_preference'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
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
        migrations.CreateModel(
            name='Job',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('attempts', models.PositiveIntegerField(default=0)),
                ('trouble', models.CharField(blank=True, max_length=200)),
                ('name', models.CharField(max_length=60)),
                ('arguments', models.JSONField(default=dict)),
                ('state', models.CharField(choices=[('waiting', 'Waiting'), ('running', 'Running'), ('done', 'Done'), ('failed', 'Failed')], default='waiting', max_length=8)),
                ('lease_until', models.DateTimeField()),
                ('outcome', models.JSONField(default=dict)),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('finished_at', models.DateTimeField(blank=True, null=True)),
                ('by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('parent', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.CASCADE, related_name='parts', to='studio.job')),
            ],
            options={
                'ordering': ['-id'],
                'indexes': [models.Index(condition=models.Q(('state__in', ['waiting', 'running'])), fields=['lease_until'], name='job_overdue')],
                'constraints': [models.CheckConstraint(condition=models.Q(models.Q(('finished_at__isnull', True), ('state__in', ['waiting', 'running'])), models.Q(('finished_at__isnull', False), ('state__in', ['done', 'failed'])), _connector='OR'), name='job_finished_at')],
            },
        ),
        migrations.CreateModel(
            name='WebhookDelivery',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('attempts', models.PositiveIntegerField(default=0)),
                ('trouble', models.CharField(blank=True, max_length=200)),
                ('event_id', models.CharField(max_length=80)),
                ('event', models.CharField(max_length=40)),
                ('body', models.TextField()),
                ('created_at', models.DateTimeField(auto_now_add=True)),
                ('next_attempt_at', models.DateTimeField()),
                ('claimed_until', models.DateTimeField(blank=True, null=True)),
                ('delivered_at', models.DateTimeField(blank=True, null=True)),
                ('dead_at', models.DateTimeField(blank=True, null=True)),
                ('status', models.PositiveSmallIntegerField(blank=True, null=True)),
                ('target', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='deliveries', to='studio.webhooktarget')),
            ],
            options={
                'verbose_name_plural': 'webhook deliveries',
                'ordering': ['-id'],
                'indexes': [models.Index(condition=models.Q(('dead_at__isnull', True), ('delivered_at__isnull', True)), fields=['next_attempt_at'], name='webhook_waiting')],
                'constraints': [models.UniqueConstraint(fields=('target', 'event_id'), name='one_delivery_per_event_and_target'), models.CheckConstraint(condition=models.Q(('delivered_at__isnull', True), ('dead_at__isnull', True), _connector='OR'), name='webhook_delivered_or_dead')],
            },
        ),
    ]
