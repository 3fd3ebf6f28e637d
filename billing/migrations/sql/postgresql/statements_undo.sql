DROP TRIGGER statement_is_guarded ON billing_statement;
DROP FUNCTION billing_guard_statement();
DROP TRIGGER payment_is_guarded ON billing_payment;
DROP FUNCTION billing_guard_payment();
