-- A bill stands as it came. It is paid once and reversed once; no day is billed twice.

CREATE TRIGGER no_day_is_billed_twice BEFORE INSERT ON billing_utilitybill
WHEN NEW.reversed_at IS NULL AND EXISTS (
    SELECT 1 FROM billing_utilitybill
    WHERE reversed_at IS NULL AND first_day <= NEW.last_day AND last_day >= NEW.first_day
)
BEGIN
    SELECT RAISE(ABORT, 'no_day_is_billed_twice: reverse the other bill first');
END;

CREATE TRIGGER bill_is_not_replaced BEFORE INSERT ON billing_utilitybill
WHEN EXISTS (
    SELECT 1 FROM billing_utilitybill WHERE id = NEW.id OR entry_id = NEW.entry_id
)
BEGIN
    SELECT RAISE(ABORT, 'bill_is_not_replaced: reverse it and enter the right one');
END;

CREATE TRIGGER bill_is_not_changed BEFORE UPDATE ON billing_utilitybill
WHEN OLD.reversed_at IS NOT NULL
    OR (OLD.paid_entry_id IS NOT NULL AND NEW.paid_entry_id IS NOT OLD.paid_entry_id)
    OR (OLD.id, OLD.first_day, OLD.last_day, OLD.billed_on, OLD.energy_wh, OLD.amount_minor,
        OLD.tax_minor, OLD.reference, OLD.settlement, OLD.entry_id, OLD.recorded_by_id,
        OLD.recorded_at)
    IS NOT
       (NEW.id, NEW.first_day, NEW.last_day, NEW.billed_on, NEW.energy_wh, NEW.amount_minor,
        NEW.tax_minor, NEW.reference, NEW.settlement, NEW.entry_id, NEW.recorded_by_id,
        NEW.recorded_at)
BEGIN
    SELECT RAISE(ABORT, 'bill_is_not_changed: reverse it and enter the right one');
END;

CREATE TRIGGER bill_is_not_deleted BEFORE DELETE ON billing_utilitybill
BEGIN
    SELECT RAISE(ABORT, 'bill_is_not_deleted: reverse it and enter the right one');
END;
