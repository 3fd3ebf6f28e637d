-- Months close one after the other and stay closed.

CREATE TRIGGER months_close_in_order BEFORE INSERT ON billing_monthclose
BEGIN
    SELECT RAISE(ABORT, 'months_close_in_order: the month after the last closed one is next')
    WHERE NEW.month <> (SELECT date(max(month), '+1 month') FROM billing_monthclose);
END;

CREATE TRIGGER closed_month_is_not_changed BEFORE UPDATE ON billing_monthclose
BEGIN
    SELECT RAISE(ABORT, 'closed_month_is_not_changed: a closed month stays closed');
END;

CREATE TRIGGER closed_month_is_not_deleted BEFORE DELETE ON billing_monthclose
BEGIN
    SELECT RAISE(ABORT, 'closed_month_is_not_deleted: a closed month stays closed');
END;
