-- The charges of a month are shared when they are given their journal entry. From then on they,
-- their lines and their shares are final; only the moment of their reversal is added, once.

CREATE TRIGGER month_charges_are_written_open BEFORE INSERT ON billing_monthcharges
WHEN NEW.entry_id IS NOT NULL
BEGIN
    SELECT RAISE(ABORT,
        'month_charges_are_written_open: write lines and shares first, then set entry_id');
END;

CREATE TRIGGER posted_month_charges_add_up BEFORE UPDATE ON billing_monthcharges
WHEN OLD.entry_id IS NULL AND NEW.entry_id IS NOT NULL
BEGIN
    SELECT RAISE(ABORT, 'posted_month_charges_add_up: lines and shares must each sum to the total')
    WHERE NEW.total_minor <> (
        SELECT coalesce(sum(amount_minor), 0) FROM billing_monthchargeline
        WHERE charges_id = OLD.id
    ) OR NEW.total_minor <> NEW.studio_minor + (
        SELECT coalesce(sum(amount_minor), 0) FROM billing_monthchargeshare
        WHERE charges_id = OLD.id
    );
END;

CREATE TRIGGER posted_month_charges_are_not_changed BEFORE UPDATE ON billing_monthcharges
WHEN OLD.entry_id IS NOT NULL AND (
    OLD.reversed_at IS NOT NULL OR NEW.reversed_at IS NULL
    OR (OLD.id, OLD.month, OLD.total_minor, OLD.studio_minor, OLD.studio_parts, OLD.entry_id,
        OLD.made_by_id, OLD.made_at)
    IS NOT
       (NEW.id, NEW.month, NEW.total_minor, NEW.studio_minor, NEW.studio_parts, NEW.entry_id,
        NEW.made_by_id, NEW.made_at)
)
BEGIN
    SELECT RAISE(ABORT,
        'posted_month_charges_are_not_changed: reverse them and share the month again');
END;

CREATE TRIGGER posted_month_charges_are_not_deleted BEFORE DELETE ON billing_monthcharges
WHEN OLD.entry_id IS NOT NULL
BEGIN
    SELECT RAISE(ABORT,
        'posted_month_charges_are_not_deleted: reverse them and share the month again');
END;

CREATE TRIGGER posted_month_charges_are_not_replaced BEFORE INSERT ON billing_monthcharges
WHEN EXISTS (
    SELECT 1 FROM billing_monthcharges WHERE entry_id IS NOT NULL AND (
        id = NEW.id OR (month = NEW.month AND reversed_at IS NULL AND NEW.reversed_at IS NULL)
    )
)
BEGIN
    SELECT RAISE(ABORT,
        'posted_month_charges_are_not_replaced: the charges of this month are shared already');
END;

CREATE TRIGGER posted_charges_take_no_line BEFORE INSERT ON billing_monthchargeline
WHEN EXISTS (
    SELECT 1 FROM billing_monthcharges WHERE id = NEW.charges_id AND entry_id IS NOT NULL
) OR EXISTS (SELECT 1 FROM billing_monthchargeline WHERE id = NEW.id)
BEGIN
    SELECT RAISE(ABORT, 'posted_charges_take_no_part: reverse them and share the month again');
END;

CREATE TRIGGER line_of_posted_charges_is_not_changed BEFORE UPDATE ON billing_monthchargeline
WHEN OLD.id <> NEW.id OR EXISTS (
    SELECT 1 FROM billing_monthcharges
    WHERE id IN (OLD.charges_id, NEW.charges_id) AND entry_id IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT,
        'part_of_posted_charges_is_not_changed: reverse them and share the month again');
END;

CREATE TRIGGER line_of_posted_charges_is_not_deleted BEFORE DELETE ON billing_monthchargeline
WHEN EXISTS (
    SELECT 1 FROM billing_monthcharges WHERE id = OLD.charges_id AND entry_id IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT,
        'part_of_posted_charges_is_not_changed: reverse them and share the month again');
END;

CREATE TRIGGER posted_charges_take_no_share BEFORE INSERT ON billing_monthchargeshare
WHEN EXISTS (
    SELECT 1 FROM billing_monthcharges WHERE id = NEW.charges_id AND entry_id IS NOT NULL
) OR EXISTS (SELECT 1 FROM billing_monthchargeshare WHERE id = NEW.id)
BEGIN
    SELECT RAISE(ABORT, 'posted_charges_take_no_part: reverse them and share the month again');
END;

CREATE TRIGGER share_of_posted_charges_is_not_changed BEFORE UPDATE ON billing_monthchargeshare
WHEN OLD.id <> NEW.id OR EXISTS (
    SELECT 1 FROM billing_monthcharges
    WHERE id IN (OLD.charges_id, NEW.charges_id) AND entry_id IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT,
        'part_of_posted_charges_is_not_changed: reverse them and share the month again');
END;

CREATE TRIGGER share_of_posted_charges_is_not_deleted BEFORE DELETE ON billing_monthchargeshare
WHEN EXISTS (
    SELECT 1 FROM billing_monthcharges WHERE id = OLD.charges_id AND entry_id IS NOT NULL
)
BEGIN
    SELECT RAISE(ABORT,
        'part_of_posted_charges_is_not_changed: reverse them and share the month again');
END;
