DROP TRIGGER bill_is_guarded ON billing_utilitybill;
DROP FUNCTION billing_guard_bill();
ALTER TABLE billing_utilitybill DROP CONSTRAINT no_day_is_billed_twice;
