-- A tariff version is final too when it priced part of a firing that began under another one
-- (its id stands in the working of the energy line), or charges of a month.

CREATE TRIGGER tariff_in_a_working_is_not_changed BEFORE UPDATE ON billing_tariffversion
WHEN EXISTS (SELECT 1 FROM billing_monthchargeline WHERE tariff_id = OLD.id) OR EXISTS (
    SELECT 1 FROM billing_costline, json_each(billing_costline.working, '$.tariff_ids') AS used
    WHERE billing_costline.kind = 'energy' AND used.value = OLD.id
)
BEGIN
    SELECT RAISE(ABORT, 'used_tariff_is_not_changed: add a version that holds from a later day');
END;

CREATE TRIGGER used_tariff_is_not_deleted BEFORE DELETE ON billing_tariffversion
WHEN EXISTS (SELECT 1 FROM billing_monthchargeline WHERE tariff_id = OLD.id) OR EXISTS (
    SELECT 1 FROM billing_costline, json_each(billing_costline.working, '$.tariff_ids') AS used
    WHERE billing_costline.kind = 'energy' AND used.value = OLD.id
)
BEGIN
    SELECT RAISE(ABORT, 'used_tariff_is_not_deleted: add a version that holds from a later day');
END;
