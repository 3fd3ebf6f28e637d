DROP TRIGGER refund_stays_within_its_share;
DROP TRIGGER refund_is_not_replaced;
DROP TRIGGER refund_is_not_changed;
DROP TRIGGER refund_is_not_deleted;
