-- The balances at a month's end are kept when that month is closed, and stand for good.

CREATE TRIGGER month_balance_is_of_the_month_just_closed BEFORE INSERT ON billing_monthbalance
BEGIN
    SELECT RAISE(ABORT, 'month_balance_is_of_the_month_just_closed: a close keeps its balances')
    WHERE NEW."on" IS NOT (SELECT date(max(month), '+1 month', '-1 day') FROM billing_monthclose);
END;

CREATE TRIGGER month_balance_is_not_replaced BEFORE INSERT ON billing_monthbalance
WHEN EXISTS (
    SELECT 1 FROM billing_monthbalance
    WHERE id = NEW.id OR ("on" = NEW."on" AND account_id = NEW.account_id)
)
BEGIN
    SELECT RAISE(ABORT, 'month_balance_is_not_replaced: what a month ended with stands for good');
END;

CREATE TRIGGER month_balance_is_not_changed BEFORE UPDATE ON billing_monthbalance
BEGIN
    SELECT RAISE(ABORT, 'month_balance_is_not_changed: what a month ended with stands for good');
END;

CREATE TRIGGER month_balance_is_not_deleted BEFORE DELETE ON billing_monthbalance
BEGIN
    SELECT RAISE(ABORT, 'month_balance_is_not_deleted: what a month ended with stands for good');
END;
