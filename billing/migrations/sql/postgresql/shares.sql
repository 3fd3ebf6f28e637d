-- The lines and shares of a posted cost are as final as the cost. The cost's row is locked
-- first, so that nobody posts it meanwhile. TG_ARGV[0] is the word for the part: line or share.

CREATE FUNCTION billing_guard_part_of_cost() RETURNS trigger AS $$
BEGIN
    IF TG_OP <> 'INSERT' THEN
        PERFORM 1 FROM billing_firingcost WHERE id = OLD.cost_id FOR SHARE;
        IF EXISTS (
            SELECT 1 FROM billing_firingcost WHERE id = OLD.cost_id AND entry_id IS NOT NULL
        ) THEN
            PERFORM billing_refuse(
                TG_ARGV[0] || CASE TG_OP WHEN 'DELETE' THEN '_of_posted_cost_is_not_deleted'
                    ELSE '_of_posted_cost_is_not_changed' END,
                'reverse it and price it again');
        END IF;
    END IF;
    IF TG_OP = 'DELETE' THEN
        RETURN OLD;
    END IF;
    PERFORM 1 FROM billing_firingcost WHERE id = NEW.cost_id FOR SHARE;
    IF EXISTS (
        SELECT 1 FROM billing_firingcost WHERE id = NEW.cost_id AND entry_id IS NOT NULL
    ) THEN
        PERFORM billing_refuse('posted_cost_takes_no_' || TG_ARGV[0],
            'reverse it and price the firing again');
    END IF;
    RETURN NEW;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER line_is_guarded BEFORE INSERT OR UPDATE OR DELETE ON billing_costline
FOR EACH ROW EXECUTE FUNCTION billing_guard_part_of_cost('line');

CREATE TRIGGER share_is_guarded BEFORE INSERT OR UPDATE OR DELETE ON billing_share
FOR EACH ROW EXECUTE FUNCTION billing_guard_part_of_cost('share');
