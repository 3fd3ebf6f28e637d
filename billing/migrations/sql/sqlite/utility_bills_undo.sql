DROP TRIGGER no_day_is_billed_twice;
DROP TRIGGER bill_is_not_replaced;
DROP TRIGGER bill_is_not_changed;
DROP TRIGGER bill_is_not_deleted;
