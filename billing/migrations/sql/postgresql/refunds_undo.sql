DROP TRIGGER refund_is_guarded ON billing_refund;
DROP FUNCTION billing_guard_refund();
