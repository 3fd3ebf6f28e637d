-- The lines and shares of a posted cost are as final as the cost.

CREATE TRIGGER posted_cost_takes_no_line BEFORE INSERT ON billing_costline
WHEN EXISTS (
    SELECT 1 FROM billing_firingcost WHERE id = NEW.cost_id AND entry_id IS NOT NULL
) OR EXISTS (SELECT 1 FROM billing_costline WHERE id = NEW.id)
BEGIN
    SELECT RAISE(ABORT, 'posted_cost_takes_no_line: reverse it and price the firing again');
END;

CREATE TRIGGER line_of_posted_cost_is_not_changed BEFORE UPDATE ON billing_costline
WHEN OLD.id <> NEW.id OR EXISTS (
    SELECT 1 FROM billing_firingcost
    WHERE id IN (OLD.cost_id, NEW.cost_id) AND entry_id IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT, 'line_of_posted_cost_is_not_changed: reverse it and price it again');
END;

CREATE TRIGGER line_of_posted_cost_is_not_deleted BEFORE DELETE ON billing_costline
WHEN EXISTS (
    SELECT 1 FROM billing_firingcost WHERE id = OLD.cost_id AND entry_id IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT, 'line_of_posted_cost_is_not_deleted: reverse it and price it again');
END;

CREATE TRIGGER posted_cost_takes_no_share BEFORE INSERT ON billing_share
WHEN EXISTS (
    SELECT 1 FROM billing_firingcost WHERE id = NEW.cost_id AND entry_id IS NOT NULL
) OR EXISTS (SELECT 1 FROM billing_share WHERE id = NEW.id)
BEGIN
    SELECT RAISE(ABORT, 'posted_cost_takes_no_share: reverse it and price the firing again');
END;

CREATE TRIGGER share_of_posted_cost_is_not_changed BEFORE UPDATE ON billing_share
WHEN OLD.id <> NEW.id OR EXISTS (
    SELECT 1 FROM billing_firingcost
    WHERE id IN (OLD.cost_id, NEW.cost_id) AND entry_id IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT, 'share_of_posted_cost_is_not_changed: reverse it and price it again');
END;

CREATE TRIGGER share_of_posted_cost_is_not_deleted BEFORE DELETE ON billing_share
WHEN EXISTS (
    SELECT 1 FROM billing_firingcost WHERE id = OLD.cost_id AND entry_id IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT, 'share_of_posted_cost_is_not_deleted: reverse it and price it again');
END;
