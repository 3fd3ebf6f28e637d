DROP TRIGGER estimate_is_not_replaced;
DROP TRIGGER estimate_is_not_changed;
DROP TRIGGER estimate_is_not_deleted;
