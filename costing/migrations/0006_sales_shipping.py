import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

import studio.model_fields


class Migration(migrations.Migration):

    dependencies = [
        ('costing', '0005_price_overrides'),
        ('inventory', '0011_buying'),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        # No order was held by earlier versions: there are no rows to keep.
        migrations.DeleteModel(name='SalesOrderHold'),
        migrations.CreateModel(
            name='SalesOrderHold',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('amount', models.PositiveIntegerField()),
                ('remaining', models.PositiveIntegerField()),
                ('at', models.DateTimeField(auto_now_add=True)),
                ('line', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='holds', to='costing.salesorderline')),
                ('lot', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sales_holds', to='inventory.lot')),
                ('reservation', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sales_holds', to='inventory.reservation')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='SalesCredit',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('bars', models.PositiveIntegerField()),
                ('revenue', studio.model_fields.MoneyField()),
                ('tax', studio.model_fields.MoneyField(default=0)),
                ('cost', studio.model_fields.MoneyField(default=0)),
                ('at', models.DateTimeField(auto_now_add=True)),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.CreateModel(
            name='SalesShipmentLot',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('bars', models.PositiveIntegerField()),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.AddField(
            model_name='salesshipment',
            name='fees',
            field=studio.model_fields.MoneyField(default=0),
        ),
        migrations.AddField(
            model_name='salesshipment',
            name='freight',
            field=studio.model_fields.MoneyField(default=0),
        ),
        migrations.AddField(
            model_name='salesshipment',
            name='freight_tax',
            field=studio.model_fields.MoneyField(default=0),
        ),
        migrations.AddField(
            model_name='salesshipmentline',
            name='cost',
            field=studio.model_fields.MoneyField(default=0),
        ),
        migrations.AddField(
            model_name='salesshipmentline',
            name='fees',
            field=studio.model_fields.MoneyField(default=0),
        ),
        migrations.AddField(
            model_name='salesshipmentline',
            name='packing',
            field=studio.model_fields.MoneyField(default=0),
        ),
        migrations.AddField(
            model_name='salesshipmentline',
            name='tax',
            field=studio.model_fields.MoneyField(default=0),
        ),
        migrations.AddConstraint(
            model_name='salesorderhold',
            constraint=models.UniqueConstraint(fields=('line', 'reservation', 'lot'), name='one_sales_hold_per_line_and_lot'),
        ),
        migrations.AddConstraint(
            model_name='salesorderhold',
            constraint=models.CheckConstraint(condition=models.Q(('amount__gt', 0), ('remaining__lte', models.F('amount'))), name='sales_hold_amounts'),
        ),
        migrations.AddConstraint(
            model_name='salesshipment',
            constraint=models.CheckConstraint(condition=models.Q(('fees__gte', 0), ('freight__gte', 0), ('freight_tax__gte', 0)), name='sales_shipment_money'),
        ),
        migrations.AddConstraint(
            model_name='salesshipmentline',
            constraint=models.CheckConstraint(condition=models.Q(('cost__gte', 0), ('fees__gte', 0), ('packing__gte', 0), ('tax__gte', 0)), name='sales_shipment_line_costs'),
        ),
        migrations.AddField(
            model_name='salescredit',
            name='back',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='credits', to='inventory.shipmentreturn'),
        ),
        migrations.AddField(
            model_name='salescredit',
            name='by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='salescredit',
            name='line',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='credits', to='costing.salesshipmentline'),
        ),
        migrations.AddField(
            model_name='salesshipmentlot',
            name='line',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lots', to='costing.salesshipmentline'),
        ),
        migrations.AddField(
            model_name='salesshipmentlot',
            name='shipped',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sales', to='inventory.shipmentline'),
        ),
        migrations.AddConstraint(
            model_name='salescredit',
            constraint=models.UniqueConstraint(fields=('line', 'back'), name='one_credit_per_line_and_return'),
        ),
        migrations.AddConstraint(
            model_name='salescredit',
            constraint=models.CheckConstraint(condition=models.Q(('bars__gt', 0), ('cost__gte', 0), ('revenue__gte', 0), ('tax__gte', 0)), name='sales_credit_amounts'),
        ),
        migrations.AddConstraint(
            model_name='salesshipmentlot',
            constraint=models.UniqueConstraint(fields=('line', 'shipped'), name='one_sales_lot_per_shipped_line'),
        ),
        migrations.AddConstraint(
            model_name='salesshipmentlot',
            constraint=models.CheckConstraint(condition=models.Q(('bars__gt', 0)), name='sales_shipment_lot_bars'),
        ),
    ]
