-- The steps of a posted cost are as final as the cost.

CREATE TRIGGER posted_cost_takes_no_step BEFORE INSERT ON billing_chargestep
WHEN EXISTS (
    SELECT 1 FROM billing_firingcost WHERE id = NEW.cost_id AND entry_id IS NOT NULL
) OR EXISTS (SELECT 1 FROM billing_chargestep WHERE id = NEW.id)
BEGIN
    SELECT RAISE(ABORT, 'posted_cost_takes_no_step: reverse it and price the firing again');
END;

CREATE TRIGGER step_of_posted_cost_is_not_changed BEFORE UPDATE ON billing_chargestep
WHEN OLD.id <> NEW.id OR EXISTS (
    SELECT 1 FROM billing_firingcost
    WHERE id IN (OLD.cost_id, NEW.cost_id) AND entry_id IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT, 'step_of_posted_cost_is_not_changed: reverse it and price it again');
END;

CREATE TRIGGER step_of_posted_cost_is_not_deleted BEFORE DELETE ON billing_chargestep
WHEN EXISTS (
    SELECT 1 FROM billing_firingcost WHERE id = OLD.cost_id AND entry_id IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT, 'step_of_posted_cost_is_not_deleted: reverse it and price it again');
END;
