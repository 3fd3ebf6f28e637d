-- Estimates of a part's cost and life are the ground that later charges stand on: final.

CREATE TRIGGER estimate_is_not_replaced BEFORE INSERT ON billing_lifeestimate
WHEN EXISTS (SELECT 1 FROM billing_lifeestimate WHERE id = NEW.id)
BEGIN
    SELECT RAISE(ABORT, 'estimate_is_not_replaced: estimate anew');
END;

CREATE TRIGGER estimate_is_not_changed BEFORE UPDATE ON billing_lifeestimate
BEGIN
    SELECT RAISE(ABORT, 'estimate_is_not_changed: estimate anew');
END;

CREATE TRIGGER estimate_is_not_deleted BEFORE DELETE ON billing_lifeestimate
BEGIN
    SELECT RAISE(ABORT, 'estimate_is_not_deleted: estimate anew');
END;
