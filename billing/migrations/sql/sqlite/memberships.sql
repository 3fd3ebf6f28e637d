-- A membership that changed a charge is final but for whether it is still offered.

CREATE TRIGGER used_membership_is_not_changed BEFORE UPDATE ON billing_membership
WHEN (OLD.id, OLD.name, OLD.kind, OLD.basis_points, OLD.amount_minor, OLD.area_mm2)
    IS NOT (NEW.id, NEW.name, NEW.kind, NEW.basis_points, NEW.amount_minor, NEW.area_mm2)
AND EXISTS (SELECT 1 FROM billing_chargestep WHERE membership_id = OLD.id)
BEGIN
    SELECT RAISE(ABORT, 'used_membership_is_not_changed: add another and let accounts hold it');
END;
