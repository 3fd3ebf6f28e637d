-- The cost of a firing is posted when it is given its journal entry. From then on it, its lines,
-- its shares and their steps are final; only the moment of its reversal is added, once. Lines sum
-- to the pool, so do the parts of the pool; each share is its part and its steps. A tariff version
-- that priced a firing is final too.

CREATE TRIGGER cost_is_written_open BEFORE INSERT ON billing_firingcost
WHEN NEW.entry_id IS NOT NULL
BEGIN
    SELECT RAISE(ABORT, 'cost_is_written_open: write lines and shares first, then set entry_id');
END;

CREATE TRIGGER posted_cost_adds_up BEFORE UPDATE ON billing_firingcost
WHEN OLD.entry_id IS NULL AND NEW.entry_id IS NOT NULL
BEGIN
    SELECT RAISE(ABORT, 'posted_cost_adds_up: lines and shares must each sum to the pool')
    WHERE NEW.pool_minor <> (
        SELECT coalesce(sum(amount_minor), 0) FROM billing_costline WHERE cost_id = OLD.id
    ) OR NEW.pool_minor <> NEW.studio_minor + (
        SELECT coalesce(sum(split_minor), 0) FROM billing_share WHERE cost_id = OLD.id
    );
END;

CREATE TRIGGER posted_share_is_its_steps BEFORE UPDATE ON billing_firingcost
WHEN OLD.entry_id IS NULL AND NEW.entry_id IS NOT NULL
BEGIN
    SELECT RAISE(ABORT, 'posted_share_is_its_steps: a share is its part of the pool and its steps')
    FROM billing_share WHERE cost_id = OLD.id AND (
        amount_minor < 0 OR amount_minor <> split_minor + (
            SELECT coalesce(sum(amount_minor), 0) FROM billing_chargestep
            WHERE share_id = billing_share.id
        )
    );
END;

CREATE TRIGGER posted_cost_is_not_changed BEFORE UPDATE ON billing_firingcost
WHEN OLD.entry_id IS NOT NULL AND (
    OLD.reversed_at IS NOT NULL OR NEW.reversed_at IS NULL
    OR (OLD.id, OLD.firing_id, OLD.tariff_id, OLD.policy, OLD.rule, OLD.pool_minor,
        OLD.studio_minor, OLD.studio_reason, OLD.usable_area_mm2, OLD.charged_area_mm2, OLD.entry_id, OLD.made_at)
    IS NOT
       (NEW.id, NEW.firing_id, NEW.tariff_id, NEW.policy, NEW.rule, NEW.pool_minor,
        NEW.studio_minor, NEW.studio_reason, NEW.usable_area_mm2, NEW.charged_area_mm2, NEW.entry_id, NEW.made_at)
)
BEGIN
    SELECT RAISE(ABORT, 'posted_cost_is_not_changed: reverse it and price the firing again');
END;

CREATE TRIGGER posted_cost_is_not_deleted BEFORE DELETE ON billing_firingcost
WHEN OLD.entry_id IS NOT NULL
BEGIN
    SELECT RAISE(ABORT, 'posted_cost_is_not_deleted: reverse it and price the firing again');
END;

CREATE TRIGGER posted_cost_is_not_replaced BEFORE INSERT ON billing_firingcost
WHEN EXISTS (
    SELECT 1 FROM billing_firingcost WHERE entry_id IS NOT NULL AND (
        id = NEW.id OR entry_id = NEW.entry_id
        OR (firing_id = NEW.firing_id AND reversed_at IS NULL AND NEW.reversed_at IS NULL)
    )
)
BEGIN
    SELECT RAISE(ABORT, 'posted_cost_is_not_replaced: the cost of this firing is posted already');
END;

CREATE TRIGGER used_tariff_is_not_changed BEFORE UPDATE ON billing_tariffversion
WHEN EXISTS (SELECT 1 FROM billing_firingcost WHERE tariff_id = OLD.id)
BEGIN
    SELECT RAISE(ABORT, 'used_tariff_is_not_changed: add a version that holds from a later day');
END;
