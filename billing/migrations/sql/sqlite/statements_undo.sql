DROP TRIGGER statement_number_is_the_next;
DROP TRIGGER statement_is_not_replaced;
DROP TRIGGER statement_is_not_changed;
DROP TRIGGER statement_is_not_deleted;
DROP TRIGGER payment_is_not_replaced;
DROP TRIGGER payment_is_not_changed;
DROP TRIGGER payment_is_not_deleted;
